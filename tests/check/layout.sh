#!/bin/bash
# The top level holds a fixed set of entries, besides files whose name begins with a dot; everything else has its place
# below them.
set -eu
cd "${LAYSHAFT_SOURCE:-$(dirname "$0")/../..}"
required="CMakeLists.txt DEVELOPERS.md LICENSE README.md docs include recordings src tests"
failed=0

entries() {
    if [ -e .git ] && command -v git >/dev/null; then
        git -c safe.directory='*' ls-files --cached --others --exclude-standard | cut -d/ -f1 | sort -u
    else
        find . -mindepth 1 -maxdepth 1 ! -name 'build*' ! -name .git -printf '%f\n'
    fi
}

while IFS= read -r entry; do
    case " $required " in
    *" $entry "*) ;;
    *)
        [ "${entry#.}" = "$entry" ] || continue
        echo "$entry: does not belong at the top level" >&2
        failed=1
        ;;
    esac
done < <(entries)
for needed in $required; do
    [ -e "$needed" ] || {
        echo "$needed: missing at the top level" >&2
        failed=1
    }
done
exit "$failed"

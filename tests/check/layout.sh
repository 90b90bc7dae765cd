#!/bin/bash
# The top level holds a fixed set of entries; everything else has its place below them.
set -eu
cd "${LAYSHAFT_SOURCE:-$(dirname "$0")/../..}"
allowed=" .ci .clang-format .gitattributes .gitignore CMakeLists.txt DEVELOPERS.md LICENSE README.md docs include recordings src tests "
failed=0

entries() {
    if [ -e .git ] && command -v git >/dev/null; then
        git -c safe.directory='*' ls-files --cached --others --exclude-standard | cut -d/ -f1 | sort -u
    else
        find . -mindepth 1 -maxdepth 1 ! -name 'build*' ! -name .git -printf '%f\n'
    fi
}

while IFS= read -r entry; do
    case "$allowed" in
    *" $entry "*) ;;
    *)
        echo "$entry: does not belong at the top level" >&2
        failed=1
        ;;
    esac
done < <(entries)
for needed in CMakeLists.txt LICENSE README.md docs include src tests; do
    [ -e "$needed" ] || {
        echo "$needed: missing at the top level" >&2
        failed=1
    }
done
exit "$failed"

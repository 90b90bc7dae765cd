#!/bin/bash
# The worked example of README.md is what the program says, and every file the documents point to is there.
set -eu
cd "${LAYSHAFT_SOURCE:-$(dirname "$0")/../..}"
failed=0
LAYSHAFT_PROGRAM=${LAYSHAFT_PROGRAM:-build/layshaft} docs/update-example --check || failed=1
for document in README.md DEVELOPERS.md recordings/README.md docs/*.md; do
    while IFS= read -r target; do
        [ -e "$(dirname "$document")/$target" ] || {
            echo "$document: points to $target, which is not there" >&2
            failed=1
        }
    done < <(grep -oE '\]\([^)#:]+\)' "$document" | sed -E 's/^\]\((.*)\)$/\1/')
    # Paths in backquotes that begin with a folder of the project; reports and placeholders (NAME) do not count.
    # shellcheck disable=SC2016 # they are backquotes to look for
    while IFS= read -r target; do
        [ -e "$target" ] || {
            echo "$document: names $target, which is not there" >&2
            failed=1
        }
    done < <(grep -oE '`(src|include|tests|docs|recordings)/[A-Za-z0-9_./-]+`' "$document" | tr -d '`' | grep -vE '/report|NAME' | sort -u)
done
[ "$(stat -c %s docs/pictures/road-test-spectrum.png)" -lt 200000 ] || {
    echo "docs/pictures/road-test-spectrum.png: 200 kB or more" >&2
    failed=1
}
exit "$failed"

#!/bin/bash
# The program at the command line: each folder below cases/ holds `command`, a line of shell in which layshaft is the
# program, and what it must give: `stdout`, `stderr` (missing file: nothing) and `exit` (missing: 0).
#
#   tests/golden/cases.sh              compare
#   tests/golden/cases.sh --update     write what the program gives now; read the difference before you keep it
set -u
source_folder=$(cd "${LAYSHAFT_SOURCE:-$(dirname "$0")/../..}" && pwd)
program=${LAYSHAFT_PROGRAM:-$source_folder/build/layshaft}
if [ ! -x "$program" ]; then
    echo "there is no program to try: build it or set LAYSHAFT_PROGRAM" >&2
    exit 1
fi
program=$(realpath "$program")
cases=$source_folder/tests/golden/cases
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
unset COLUMNS NO_COLOR
# Seen from every case's place under one name, wherever the source lies: lines are wrapped by the length of what they say.
ln -s "$source_folder/recordings" "$work/recordings"
export LC_ALL=C.UTF-8 UNITS=../recordings/units
update=${1:-}
failed=0 count=0

# shellcheck disable=SC2317 # the cases call it
layshaft() { "$program" "$@"; }

# compare CASE NAME: what came against what the case holds.
compare() {
    local wanted=$cases/$1/$2 came=$work/$2
    if [ "$update" = --update ]; then
        if [ -s "$came" ]; then cp "$came" "$wanted"; else rm -f "$wanted"; fi
        return
    fi
    [ -e "$wanted" ] || wanted=/dev/null
    diff -u --label "expected $2 of $1" --label "$2 of $1" "$wanted" "$came" || failed=1
}

for folder in "$cases"/*/; do
    name=$(basename "$folder")
    mkdir "$work/place"
    (
        cd "$work/place" || exit 99
        # shellcheck disable=SC1091 # a line of shell per case
        . "$folder/command"
    ) >"$work/stdout" 2>"$work/stderr" </dev/null
    status=$?
    if [ "$status" -eq 0 ]; then : >"$work/exit"; else echo "$status" >"$work/exit"; fi
    sed -i "s,$work/place,PLACE,g" "$work/stdout" "$work/stderr"
    for part in stdout stderr exit; do compare "$name" "$part"; done
    rm -rf "$work/place"
    count=$((count + 1))
done
[ "$count" -gt 0 ] || failed=1
echo "$count cases"
exit "$failed"

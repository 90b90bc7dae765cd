#!/bin/bash
# Every option is in the parser, in --help and in the manual page alike, and so is every command.
set -u
source_folder=${LAYSHAFT_SOURCE:-$(dirname "$0")/../..}
program=${LAYSHAFT_PROGRAM:-$source_folder/build/layshaft}
manual=$source_folder/docs/layshaft.1
common="help json quiet version"
failed=0

complain() {
    echo "$*" >&2
    failed=1
}

# Options of a command as --help lists them.
in_help() {
    "$program" "$1" --help | sed -nE 's/^  --([a-z-]+).*/\1/p' | sort -u
}

# Options of a command as its section of the manual lists them.
in_manual() {
    awk -v wanted="$1" '/^\.S[sh]/ { inside = ($1 == ".Ss" && $2 == wanted) } inside && /^\.It Fl -/ { print substr($3, 2) }' \
        "$manual" | sort -u
}

# An option the parser does not know is complained of by this sentence.
known_to_parser() {
    ! "$program" "$1" "--$2" 2>&1 </dev/null | grep -q "there is no option"
}

commands=$("$program" --help | sed -nE '/^Commands:/,/^$/s/^  ([a-z]+) .*/\1/p')
[ -n "$commands" ] || complain "--help lists no command"
for command in $commands; do
    grep -qx "\.Ss $command" "$manual" || complain "$command: has no section in the manual page"
    for option in $(in_help "$command"); do
        known_to_parser "$command" "$option" || complain "$command --$option: in --help, unknown to the parser"
        case " $common " in *" $option "*) continue ;; esac
        in_manual "$command" | grep -qx -- "$option" || complain "$command --$option: missing in the manual page"
    done
    for option in $(in_manual "$command") $common; do
        in_help "$command" | grep -qx -- "$option" || complain "$command --$option: in the manual page, missing in --help"
    done
    if "$program" "$command" --help | awk 'length > 80 { exit 1 }'; then :; else complain "$command --help: wider than 80 columns"; fi
done
while IFS= read -r section; do
    echo "$commands" | grep -qx "$section" || complain "$section: in the manual page, missing in --help"
done < <(sed -nE 's/^\.Ss ([a-z]+)$/\1/p' "$manual")
for option in $common; do
    grep -q "^\.It Fl -$option$" "$manual" || complain "--$option: missing in the manual page"
done
if command -v mandoc >/dev/null; then
    mandoc -Tlint "$manual" || failed=1
fi
exit "$failed"

#!/bin/bash
# Every shell script passes shellcheck and can be executed.
set -eu
cd "${LAYSHAFT_SOURCE:-$(dirname "$0")/../..}"
if ! command -v shellcheck >/dev/null; then
    echo "skipped: shellcheck not present"
    exit 77
fi
mapfile -t scripts < <(grep -rlE --exclude-dir='build*' --exclude-dir=.git -m1 '^#!/bin/(ba)?sh' \
    .ci tests recordings docs | sort)
failed=0
for script in "${scripts[@]}"; do
    if [ "$(head -c 2 "$script")" = '#!' ] && [ ! -x "$script" ]; then
        echo "$script: is not executable" >&2
        failed=1
    fi
done
shellcheck -x "${scripts[@]}" tests/support/packages.sh || failed=1
exit "$failed"

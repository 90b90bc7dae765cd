#!/bin/bash
# Rules for the tests themselves: doubles are compared only by assert_close, and no file tests nothing.
set -eu
cd "${LAYSHAFT_SOURCE:-$(dirname "$0")/../..}"
failed=0

word=assert_float
if grep -rnE "\b${word}_(not_)?equal" tests --include='*.[ch]'; then
    echo "compare doubles by assert_close of tests/support/close.h: the macro above uses float and passes on NaN" >&2
    failed=1
fi
while IFS= read -r file; do
    if ! grep -qE 'assert_|fail_msg|_close\(' "$file"; then
        echo "$file: asserts nothing" >&2
        failed=1
    fi
done < <(find tests -path tests/check -prune -o -name 'test_*.c' -print)
exit "$failed"

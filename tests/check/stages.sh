#!/bin/bash
# Data flows one way: a stage includes its own headers and those of stages before it; and each header of
# a foreign library has one door.
set -eu
cd "${LAYSHAFT_SOURCE:-$(dirname "$0")/../..}"
failed=0

complain() {
    echo "$*" >&2
    failed=1
}

# Stages before each stage.
declare -A before=(
    [base]=""
    [dsp]="base"
    [unit]="base dsp"
    [signal]="base dsp"
    [speed]="base dsp unit signal"
    [order]="base dsp unit signal speed"
    [source]="base dsp unit signal speed order"
    [judge]="base dsp unit signal speed order source"
    [report]="base dsp unit signal speed order source judge"
    [sim]="base dsp unit signal"
    [cli]="base dsp unit signal speed order source judge report sim"
)

# The stage a file includes, one a line: <layshaft/unit.h> and "unit/parse.h" are both unit.
included_stages() {
    sed -nE 's,^#[[:space:]]*include[[:space:]]+<layshaft/([a-z]+)\.h>.*,\1,p; s,^#[[:space:]]*include[[:space:]]+"([a-z]+)/.*,\1,p' "$1"
}

check_stage_of() {
    local file=$1 stage=$2 other
    for other in $(included_stages "$file"); do
        [ "$other" = "$stage" ] && continue
        case " ${before[$stage]} " in
        *" $other "*) ;;
        *) complain "$file: stage $stage must not include stage $other" ;;
        esac
    done
    if grep -nE '^#[[:space:]]*include[[:space:]]+"\.\.' "$file"; then
        complain "$file: include by stage/name.h, not by .."
    fi
}

for folder in src/*/; do
    stage=$(basename "$folder")
    if [ -z "${before[$stage]+known}" ]; then
        complain "$folder: unknown stage"
        continue
    fi
    while IFS= read -r file; do check_stage_of "$file" "$stage"; done < <(find "$folder" -name '*.[ch]')
done
for header in include/layshaft/*.h; do
    check_stage_of "$header" "$(basename "$header" .h)"
done

# one_door PATTERN WHAT FILE... : nothing but the named files may match.
one_door() {
    local pattern=$1 what=$2 file allowed
    shift 2
    while IFS= read -r file; do
        for allowed in "$@"; do [ "$file" = "$allowed" ] && continue 2; done
        complain "$file: $what is used only in $*"
    done < <(grep -rlE "$pattern" src include --include='*.[ch]' || true)
}
one_door '<fftw3\.h>' "fftw3.h" src/dsp/fft.c
one_door '<sndfile\.h>' "sndfile.h" src/signal/recording.c src/signal/writer.c src/signal/keeper.c
one_door '<jansson\.h>' "jansson.h" src/report/report_read.c src/report/baseline_json.c
one_door '<portaudio\.h>' "portaudio.h" src/signal/device.h
count=$(grep -rlE '\bpopen *\(' src --include='*.c' | wc -l)
[ "$count" -le 1 ] || complain "popen is called in more than one file"
if grep -rlE '\bpopen *\(' src --include='*.[ch]' | grep -v '^src/report/'; then
    complain "popen is called outside src/report"
fi

# The library neither prints nor exits nor asks the environment.
if grep -rnE '\b(printf|puts|putchar|perror|exit|abort|getenv|setlocale)\(' src --include='*.c' | grep -v '^src/cli/' |
    grep -vE ':[[:space:]]*(/?\*|//)'; then
    complain "the library must not print, exit or look at the environment (lines above)"
fi
exit "$failed"

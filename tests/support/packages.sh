# Debian packages the project needs. Sourced by tests/run, recordings/demo and .ci/run, not run.
# shellcheck shell=bash disable=SC2034

# what compiles and runs the program
packages_build="build-essential cmake pkg-config libfftw3-dev libsndfile1-dev libjansson-dev portaudio19-dev gnuplot-nox"
# what the tests need besides
packages_test="libcmocka-dev libsamplerate0-dev python3-scipy mandoc shellcheck clang clang-format flac sox jackd2
chromium python3-html5lib poppler-utils"

# Prints those of the named packages that are not installed.
packages_missing() {
    local package
    for package in "$@"; do
        case "$(dpkg-query -W -f='${Status}' "$package" 2>/dev/null)" in
        "install ok installed") ;;
        *) printf '%s\n' "$package" ;;
        esac
    done
}

# Runs a command as root, by sudo where needed.
packages_as_root() {
    if [ "$(id -u)" -eq 0 ]; then
        "$@"
    elif command -v sudo >/dev/null; then
        sudo "$@"
    else
        echo "cannot install packages: neither root nor sudo; install by hand:" >&2
        printf '    apt-get install %s\n' "${packages_wanted[*]}" >&2
        return 1
    fi
}

# packages_ensure PACKAGE... : installs what is missing; quick and silent when nothing is.
packages_ensure() {
    if ! command -v dpkg-query >/dev/null || ! command -v apt-get >/dev/null; then
        echo "not a Debian system: taking it that these are there in its own names: $*" >&2
        return 0
    fi
    local -a packages_wanted
    mapfile -t packages_wanted < <(packages_missing "$@")
    [ "${#packages_wanted[@]}" -eq 0 ] && return 0
    echo "installing ${packages_wanted[*]}" >&2
    packages_as_root env DEBIAN_FRONTEND=noninteractive apt-get -qq update &&
        packages_as_root env DEBIAN_FRONTEND=noninteractive apt-get -qq install -y --no-install-recommends \
            "${packages_wanted[@]}" >/dev/null
}

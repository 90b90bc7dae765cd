#!/bin/bash
# Installs the library into an empty folder, moves it, and builds a small program against it: by CMake's
# find_package and by pkg-config, with the library static and shared.
set -eu
cd "${LAYSHAFT_SOURCE:-$(dirname "$0")/../..}"
source_folder=$PWD
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# quietly NAME COMMAND... : shows the output only on failure
quietly() {
    local name=$1
    shift
    "$@" >"$work/log" 2>&1 || {
        cat "$work/log" >&2
        echo "failed: $name" >&2
        exit 1
    }
}

expect() {
    local said
    said=$(LD_LIBRARY_PATH="$work/moved/lib" "$1")
    [ "$said" = "0.1.0 1" ] || {
        echo "$1 said: $said" >&2
        exit 1
    }
}

for shared in OFF ON; do
    rm -rf "$work/moved"
    quietly "configure" cmake -S . -B "$work/build" -DLAYSHAFT_TESTS=OFF -DBUILD_SHARED_LIBS="$shared" \
        -DCMAKE_BUILD_TYPE=Debug -DCMAKE_INSTALL_PREFIX="$work/first" -DCMAKE_INSTALL_LIBDIR=lib
    quietly "build" cmake --build "$work/build" --parallel 2
    quietly "install" cmake --install "$work/build"
    mv "$work/first" "$work/moved"

    quietly "find_package" cmake -S tests/check/consumer -B "$work/consumer-$shared" -DCMAKE_PREFIX_PATH="$work/moved"
    quietly "link by CMake" cmake --build "$work/consumer-$shared"
    expect "$work/consumer-$shared/consumer"

    export PKG_CONFIG_PATH="$work/moved/lib/pkgconfig"
    # shellcheck disable=SC2046 # a list of options
    quietly "link by pkg-config" cc -std=c11 -pedantic -Werror -o "$work/plain-$shared" \
        "$source_folder/tests/check/consumer/consumer.c" $(pkg-config --cflags --libs layshaft)
    expect "$work/plain-$shared"
done

#!/bin/sh
# usage: clang_digest.sh CLANGXX SOURCE_DIR OUT_DIR REFERENCE FOLDER...
# Compiles everything that decides with another compiler, warnings being errors, and compares what it prints.
set -eu
clang=$1 source=$2 out=$3 reference=$4
shift 4
mkdir -p "$out"
cd "$source"
ls $(for folder; do echo src/"$folder"/*.cpp; done) tests/support/buses.cpp tests/support/collector.cpp \
   tests/support/random_scenario.cpp tests/hygiene/digest.cpp |
  xargs -P 2 -I{} sh -c 'object=$1/$(echo "$2" | tr / _).o
    "$0" -std=c++20 -O2 -Wall -Wextra -Wconversion -Werror -ffp-contract=off -Isrc -Itests -c "$2" -o "$object"' \
    "$clang" "$out" {}
"$clang" "$out"/*.o -o "$out/digest"
exec sh "$source/tests/hygiene/same_output.sh" "$reference" "$out/digest"

#!/bin/sh
# usage: no_passport.sh SOURCE_DIR COMPILER
# A station decides by what it hears. So nothing that it is compiled from, at however many removes, comes from where the
# books are kept, frames travel or the chain is put together: each header and source of src/stations is compiled where
# these folders are not, and the compiler says what it read.
set -eu
source=$1 compiler=$2
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
for each in "$source"/src/*/; do
  case $(basename "$each") in books | wires | chain | assembly) ;; *) ln -s "$each" "$folder/$(basename "$each")" ;; esac
done
cd "$folder"
for file in stations/*.h stations/*.cpp; do
  # -M also fails where an included file is missing.
  if ! read=$("$compiler" -std=c++20 -I. -x c++ -MM "$file" 2>"$folder/errors"); then
    head -n 3 "$folder/errors"
    echo "src/$file needs what a station must not know"
    exit 1
  fi
  case $read in
    *[\ /]books/* | *[\ /]wires/* | *[\ /]chain/* | *[\ /]assembly/*) echo "src/$file reads $read"; exit 1 ;;
  esac
done

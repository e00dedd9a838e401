#!/bin/sh
# usage: circles_test.sh CIRCLES_SH
# It finds circles of headers, through sources and through what goes on from a unit, and nothing that is allowed.
set -eu
script=$1
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
mkdir -p "$folder/src/a" "$folder/src/b"
file() { # file NAME INCLUDE...
  name=$1
  shift
  for each; do echo "#include \"$each\""; done >"$folder/src/$name"
}
told() { # told UNIT: a circle through it
  if told=$(sh "$script" "$folder"); then
    echo "a circle through $1 was not found"
    exit 1
  fi
  case $told in *"$1"*) ;; *) echo "a circle through $1 was planted, and this told: $told"; exit 1 ;; esac
}

file a/one.h
file a/one.cpp a/one.h a/two.h
file a/one_more.cpp a/one.h a/two.h
file a/two.h a/three.h
file a/two_else.cpp a/one.h # no part of two: it does not include it
file a/three.h
file b/four.h a/one.h
sh "$script" "$folder"
file a/three.h a/two.h
told a/three
file a/three.h
file a/three.cpp a/three.h a/one.h
told a/three
file a/three.cpp a/three.h
file a/three_more.cpp a/three.h b/four.h
told b/four
rm "$folder/src/a/three_more.cpp"
sh "$script" "$folder"

#!/bin/sh
# usage: mutants.sh MUTANTS every|run|NAME TEST_PROGRAM LINK_LIST SOURCE_DIR OUT_DIR COMPILER [FLAG...]
# Breaks the code on purpose, a copy of one file at a time, and wants the test that is named to fail. The copy is compiled
# by itself and linked before the libraries, so it takes the place of what is in them; nothing else is built anew.
# Tried are all mutants (every), those that are marked so (run), or those whose name has NAME in it.
set -eu
mutants=$1 which=$2 program=$3 link=$4 source=$5 out=$6
shift 6
rm -rf "$out"
mkdir -p "$out"

# For each mutant number.cpp, number.name, number.file, number.test.
awk -v which="$which" -v out="$out" -v source="$source" '
  function finish(   text, line, at, rest) {
    if (name == "") return
    if (which == "every" || which == "run" && every == "run" || index(name, which)) {
      text = ""
      while ((getline line < (source "/" file)) > 0) text = text line "\n"
      close(source "/" file)
      at = index(text, old)
      rest = substr(text, at + length(old))
      if (old == "" || at == 0 || index(rest, old) > 0) {
        print name ": what it changes must stand in " file " once" > "/dev/stderr"
        bad = 1
      }
      ++number
      printf "%s%s%s", substr(text, 1, at - 1), new, rest > (out "/" number ".cpp")
      print name > (out "/" number ".name")
      print file > (out "/" number ".file")
      print test > (out "/" number ".test")
    }
    name = file = old = new = test = every = ""
  }
  /^name: / { finish(); name = substr($0, 7) }
  /^file: / { file = substr($0, 7) }
  /^old: / { old = substr($0, 6) }
  /^new: / { new = substr($0, 6) }
  /^test: / { test = substr($0, 7) }
  /^every: / { every = substr($0, 8) }
  END { finish(); exit bad }
' "$mutants"
[ -e "$out/1.cpp" ] || { echo "no mutant is tried"; exit 1; }

# Unbroken, each test passes, and there is such a test.
sort -u "$out"/*.test | while read -r test; do
  told=$("$program" "$test" 2>&1) || { echo "fails without any mutant: $test"; exit 1; }
  case $told in *"No tests ran"*) echo "there is no test: $test"; exit 1 ;; esac
done

survived=0
for mutant in $(ls "$out" | sed -n 's/\.cpp$//p' | sort -n); do
  name=$(cat "$out/$mutant.name") file=$(cat "$out/$mutant.file") test=$(cat "$out/$mutant.test")
  # Beside the file, for what it includes from its own folder.
  if ! "$@" -I"$source/src" -I"$source/$(dirname "$file")" -c "$out/$mutant.cpp" -o "$out/$mutant.o" 2>"$out/$mutant.log" ||
    ! "$1" "$out/$mutant.o" @"$link" -o "$out/$mutant" 2>>"$out/$mutant.log"; then
    head -n 5 "$out/$mutant.log"
    echo "does not compile: $name"
    survived=1
    continue
  fi
  if timeout 120 "$out/$mutant" "$test" >"$out/$mutant.log" 2>&1; then
    echo "SURVIVED: $name ($test)"
    survived=1
  else
    echo "caught: $name"
  fi
  rm -f "$out/$mutant" "$out/$mutant.o"
done
exit $survived

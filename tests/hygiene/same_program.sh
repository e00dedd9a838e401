#!/bin/sh
# usage: same_program.sh PROGRAM PROGRAM SCENARIO_DIR
# Both make the same captures, byte for byte, and say the same of them: of a scenario with noise and the same mended, and
# of half a day with a battery.
set -eu
one=$1 two=$2 scenarios=$3
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT

said() { # said PROGRAM: its verdicts and its output, in a folder of its own
  mkdir "$folder/work"
  cd "$folder/work"
  for words in "run $scenarios/bit-noise.txtpb --seed 3 --capture before.hbcap" \
    "run $scenarios/bit-noise-mended.txtpb --seed 3 --capture after.hbcap" \
    "run $scenarios/charger.txtpb --for 12h --capture charger.hbcap --json" \
    "explain before.hbcap" "explain charger.hbcap" "explain charger.hbcap --json" \
    "compare before.hbcap after.hbcap" "compare after.hbcap before.hbcap --json" \
    "measure charger.hbcap" "capture thin charger.hbcap thin.hbcap" "explain thin.hbcap" \
    "shrink $scenarios/bit-noise.txtpb --keep failed>0 -o shrunk.txtpb"; do
    status=0
    # The words of a command are words for the shell as well.
    # shellcheck disable=SC2086
    "$1" $words || status=$?
    echo "== $words: $status"
    # Undecided and failed verdicts are fine as long as both come to them; crashes are not.
    [ "$status" -le 4 ]
  done
  cksum ./*
  cd "$folder"
  rm -r "$folder/work"
}
said "$one" >"$folder/one" 2>"$folder/one.errors"
said "$two" >"$folder/two" 2>"$folder/two.errors"
diff "$folder/one" "$folder/two"
diff "$folder/one.errors" "$folder/two.errors"
grep -c . "$folder/one"

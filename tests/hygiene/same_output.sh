#!/bin/sh
# usage: same_output.sh PROGRAM PROGRAM
# Both must run and print the same, and something.
one=$("$1") || exit 1
two=$("$2") || exit 1
echo "$1: $one"
echo "$2: $two"
[ -n "$one" ] && [ "$one" = "$two" ]

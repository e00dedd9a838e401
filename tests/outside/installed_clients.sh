#!/bin/sh
# usage: installed_clients.sh CMAKE BUILD_DIR SOURCE_DIR COMPILER
# What is installed is found by pkg-config, compiles a controller in C, is what a controller in Python imports, and is
# what an unchanged program preloads.
set -eu
cmake=$1 build=$2 source=$3 compiler=$4
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
"$cmake" --install "$build" --prefix "$folder/usr" >/dev/null
PKG_CONFIG_PATH=$(dirname "$(find "$folder" -name hopbench-time.pc)")
export PKG_CONFIG_PATH
# The words of pkg-config are words for the shell as well.
# shellcheck disable=SC2046
"$compiler" -std=c99 -Wall -Wextra -Wconversion -Werror -o "$folder/controller" \
  "$source/tests/outside/controllers/ring16.c" $(pkg-config --cflags --libs hopbench-time)
clients=$(pkg-config --variable=clientsdir hopbench-time)
PYTHONPATH=$clients python3 -c 'import hopbench_time; print(hopbench_time.__file__)' | grep -F "$(basename "$clients")/"
"$folder/usr/bin/hopbench" run "$source/captures/ring16.txtpb" --for 5min --controller "exec:$folder/controller" |
  grep "217 exchanges were asked" # 300 s are 217.01 times 1.3824 s
"$folder/usr/bin/hopbench" run "$source/tests/outside/scenarios/modbus-short.txtpb" --for 1min --controller \
  "exec:env LD_PRELOAD=$(pkg-config --variable=preload hopbench-time) HOPBENCH_TIME_TTY=/dev/bench $build/controller_registers /dev/bench 57600" |
  grep "600 exchanges were asked"

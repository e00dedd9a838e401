#!/bin/sh
# usage: text.sh SOURCE_DIR
# Small habits that a reader would otherwise have to watch for.
cd "$1" || exit 1
bad=$(
  grep -rnE 'using namespace' src --include='*.h'
  grep -rnE 'sleep_for|sleep_until|usleep|nanosleep' tests --include='*.cpp' --include='*.h'
  grep -rnE 'T[O]DO|F[I]XME|\bX[X]X\b|H[A]CK' src tests tools proto docs README.md DEVELOPERS.md
  grep -rLE '^#pragma once' src tests --include='*.h' | grep -v '^src/clients/' # C has no such thing by its standard
)
if [ -n "$bad" ]; then
  echo "$bad"
  exit 1
fi

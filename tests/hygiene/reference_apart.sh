#!/bin/sh
# usage: reference_apart.sh SOURCE_DIR
# The reference of what one exchange does includes plain structs and names only, and nothing that runs frames or chains.
cd "$1/tests/support/reference" || exit 1
bad=$(grep -n '#include "' ./*.h ./*.cpp |
  grep -v '"\(bus/description\.h\|scenario/description\.h\|seen/symptom\.h\|support/buses\.h\|support/dice\.h\|support/reference/.*\)"')
if [ -n "$bad" ]; then
  echo "the reference includes:"
  echo "$bad"
  exit 1
fi

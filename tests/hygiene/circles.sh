#!/bin/sh
# usage: circles.sh SOURCE_DIR
# No two units of src/ need each other, by however many others between them. A unit is a header, the source of its name,
# and sources without a header of their own that include it and whose name begins with its name (node.h, node.cpp,
# node_answer.cpp). Headers that are an inner part of another unit belong to it; they are named here, and no more should
# be added without a reason.
cd "$1/src" || exit 1
bad=$(grep -H '^#include "' */*.h */*.cpp | awk -F '[:"]' '
  function stem(file) {
    sub(/\.[a-z]+$/, "", file)
    return file
  }
  function visit(one,   n, i, parts) {
    state[one] = 1
    path[++depth] = one
    n = split(needs[one], parts, " ")
    for (i = 1; i <= n; ++i) {
      if (state[parts[i]] == 1) {
        circle(parts[i])
      } else if (state[parts[i]] == 0) {
        visit(parts[i])
      }
    }
    --depth
    state[one] = 2
  }
  function circle(from,   i, text) {
    for (i = depth; path[i] != from; --i) {}
    for (; i <= depth; ++i) text = text path[i] " -> "
    print text from
  }
  BEGIN {
    inner["bus/protocol_plan"] = "bus/protocol"
    inner["bus/wire_misfits"] = "bus/misfits"
    while (("ls */*.h" | getline name) > 0) {
      sub(/\.h$/, "", name)
      header[name] = 1
    }
  }
  {
    file[FNR] = $1
    included[FNR] = stem($3)
    includes[$1, stem($3)] = 1
  }
  # What the file belongs to.
  function unit(file,   shorter) {
    if (file in inner) return inner[file]
    shorter = stem(file)
    while (!(shorter in header) && shorter ~ /_[^\/]*$/) {
      sub(/_[^_\/]*$/, "", shorter)
      if (shorter in header && !((file, shorter) in includes)) break
    }
    if (!(shorter in header)) return stem(file)
    if (!((file, shorter) in includes) && shorter != stem(file)) return stem(file)
    return shorter in inner ? inner[shorter] : shorter
  }
  END {
    for (i = 1; i <= FNR; ++i) {
      from = unit(file[i])
      to = unit(included[i] ".h")
      if (from == to || (from, to) in known) continue
      known[from, to] = 1
      needs[from] = needs[from] " " to
      units[++count] = from
    }
    for (i = 1; i <= count; ++i)
      if (state[units[i]] == 0) visit(units[i])
  }
')
if [ -n "$bad" ]; then
  echo "units that need each other:"
  echo "$bad"
  exit 1
fi

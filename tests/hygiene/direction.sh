#!/bin/sh
# usage: direction.sh SOURCE_DIR
# Each folder of src/ includes only itself and folders before it; Asio stands in port/ only, curses in view/ only, and
# Protobuf in no folder that decides anything.
cd "$1/src" || exit 1
order="base work bus engine seen line pack scenario budget stations assembly books wires chain text port record judge measure study soak coexist picture view cli"
bad=$(
  allowed=""
  for folder in $order; do
    allowed="$allowed $folder"
    for other in $order; do
      case " $allowed " in *" $other "*) continue ;; esac
      grep -nH "#include \"$other/" "$folder"/*.h "$folder"/*.cpp 2>/dev/null
    done
  done
  # port, record and measure stand side by side.
  grep -nH '#include "\(record\|measure\|view\|text\)/' port/*.h port/*.cpp
  grep -nH '#include "\(bus\|engine\|seen\|line\|pack\|scenario\|stations\|assembly\|books\|wires\|chain\|text\|port\|record\)/' judge/*.h judge/*.cpp
  grep -nH '#include "\(bus\|engine\|seen\|line\)/' pack/*.h pack/*.cpp
  grep -nH '#include "\(port\|text\|scenario\|stations\|assembly\|books\|wires\|chain\|line\)/' record/*.h record/*.cpp measure/*.h measure/*.cpp
  grep -nH '#include "\(budget\|stations\|assembly\|books\|wires\|chain\)/' text/*.h text/*.cpp
  grep -nH 'boost/asio' $(ls -d */ | grep -v '^port/' | sed 's|$|*|') 2>/dev/null
  grep -nH 'curses\.h' $(ls -d */ | grep -v '^view/' | sed 's|$|*|') 2>/dev/null
  grep -nH 'google/protobuf\|\.pb\.h' base/* bus/* engine/* seen/* line/* pack/* scenario/* budget/* stations/* assembly/* books/* wires/* chain/* port/* measure/* judge/* 2>/dev/null
  # A budget is worked out, not run.
  grep -nH '#include "budget/' stations/*.h stations/*.cpp assembly/*.h assembly/*.cpp books/*.h books/*.cpp wires/*.h wires/*.cpp chain/*.h chain/*.cpp
  # What controllers are built with needs nothing of ours.
  for folder in clients/*/; do
    grep -nH '#include "' "$folder"*.h "$folder"*.c 2>/dev/null | grep -v '"hopbench_time\.h"' |
      while IFS= read -r line; do
        name=${line#*\"}
        [ -f "$folder${name%\"*}" ] || echo "$line"
      done
  done
  for folder in */; do
    case " $order clients " in *" ${folder%/} "*) ;; *) echo "src/$folder stands in no order" ;; esac
  done
)
if [ -n "$bad" ]; then
  echo "against the direction of flow:"
  echo "$bad"
  exit 1
fi

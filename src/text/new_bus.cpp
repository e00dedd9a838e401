#include <fmt/format.h>

#include "text/new_scenario.h"

namespace hopbench {
namespace {

constexpr const char* body = R"(
# How a receiver finds where a frame begins and ends. Kinds: SIZED, COBS, SLIP, HDLC, MARKED, FIXED, SILENCE.
framing {
  kind: SIZED              # begins with a marker; the field "size" tells how long it is
  size_plus: 9             # size counts the payload; 9 bytes stand around it
  abandon_char_tenths: 50  # a pause of 5 characters: half a frame is forgotten
  max_bytes: 128
}

# The frame, part by part, as it goes over the wire. A field has 8 bits unless it says otherwise.
part { field { name: "marker" constant: 0xA5 } }
part { field { name: "role" } }
part { field { name: "to" } }
part { field { name: "from" } }
part { field { name: "number" } }  # names the exchange: a late answer cannot pass for the next one
part { field { name: "topic" } }
part { field { name: "size" } }
part { payload {} }
part {
  check {
    name: "check"  # over all parts before it; covers: [...] names others
    crc { width: 16 poly: 0x1021 init: 0xFFFF }
  }
}

# Which field means what to the chain.
roles {
  destination: "to"
  source: "from"
  broadcast: 255
  exchange: "number"
  topic: "topic"
  size: "size"
  tell_role: BY_FIELD
  role_field: "role"
  role_codes { role: ASK code: 1 }
  role_codes { role: ANSWER code: 2 }
  role_codes { role: REFUSAL code: 3 }
  refusal { field { name: "reason" } }
  refusal_code_field: "reason"
  refusal_codes { reason: "unknown_topic" code: 1 }
  refusal_codes { reason: "bad_address" code: 2 }
  refusal_codes { reason: "bad_value" code: 3 }
}

# What a node does with a frame that is not for it: passes it on as it is.
forward { repair: UNTOUCHED unclaimed: LAST_NODE_STOPS_IT }

# What can be asked. "quantity" says what of the node fills a field.
topic {
  name: "voltages"
  code: 1
  changes: false
  ask { field { name: "first" } }
  ask { field { name: "count" } }
  answer { field { name: "first" copied_from_ask: "first" } }
  answer { field { name: "count" copied_from_ask: "count" } }
  answer { group { name: "cells" count_field: "count" field { name: "cell" bits: 16 quantity: "cell_mv" unit: "mV" } } }
  first_field: "first"
  count_field: "count"
  values_group: "cells"
}
topic {
  name: "board"
  code: 2
  changes: false
  answer { field { name: "temperature" bits: 16 signed: true scale { num: 100 } quantity: "board_temp_mc" } }  # 0.1 degree
  answer { field { name: "supply" bits: 16 quantity: "supply_mv" unit: "mV" } }
}
topic {
  name: "bleed"  # an order: one bit for each cell
  code: 3
  changes: true
  ask { field { name: "cells" bits: 16 quantity: "bleed_mask" } }
  answer { field { name: "cells" bits: 16 quantity: "bleed_mask" } }
}
)";

}  // namespace

std::string new_bus_text(const std::string& name, std::uint32_t baud) {
  return fmt::format(
             "# proto-message: hopbench.text.Bus\n"
             "# Written by `hopbench new`: sized frames with a CRC. Change it into the protocol of your chain; after "
             "each "
             "change\n# run `hopbench check` on it. `hopbench field bus.NAME` tells what a field means.\n"
             "name: \"{}\"\n\n"
             "line {{ baud: {} format: \"8N1\" }}  # data bits, parity (N, E, O), stop bits\n",
             name, baud) +
         body;
}

}  // namespace hopbench

#include "bus/spelled.h"

#include <algorithm>
#include <utility>

#include "bus/frame_plan.h"
#include "bus/layout_plan.h"

namespace hopbench {
namespace {

std::string counted_bytes(std::size_t bytes) { return std::to_string(bytes) + (bytes == 1 ? " byte" : " bytes"); }

std::string in_hex(std::uint64_t value, std::size_t bits) {
  std::string digits;
  for (std::size_t shift = (bits + 3) / 4 * 4; shift > 0; shift -= 4) {
    digits += "0123456789abcdef"[value >> (shift - 4) & 0xfU];
  }
  return "0x" + digits;
}

/// One frame being read.
class Speller {
 public:
  Speller(const Protocol& protocol, std::span<const std::uint8_t> content, Spelled& spelled)
      : bus_(protocol.description()),
        plan_(bus_, spelled.shape),
        places_(places_of(parts_of(bus_, spelled.shape))),
        content_(content),
        spelled_(spelled),
        end_(claimed_end()) {}

  void spell() {
    std::size_t check = 0;
    for (std::size_t i = 0; i < parts().size(); ++i) {
      const PartSpec& part = parts()[i];
      if (part.payload) {
        payload(part);
      } else if (part.check) {
        check_value(*part.check, plan_.checks[check++]);
      } else {
        field(*part.field, places_[i]);
      }
    }
    if (content_.size() > end_)
      rest(8 * end_, 8 * (content_.size() - end_),
           "the frame is over: " + counted_bytes(content_.size() - end_) + " too many");
  }

 private:
  [[nodiscard]] const std::vector<PartSpec>& parts() const { return parts_of(bus_, spelled_.shape); }

  /// Bytes that the frame should have: as its size field says, or as there are; its fixed parts in any case.
  [[nodiscard]] std::size_t claimed_end() const {
    const std::size_t least = plan_.zones.front + plan_.zones.back;
    std::size_t end = std::max(content_.size(), least);
    if (!plan_.has_payload) end = least;
    if (plan_.size != no_index && plan_.slots[plan_.size].end_byte() <= content_.size()) {
      const SlotPlan& slot = plan_.slots[plan_.size];
      const auto raw = slot.zone == Zone::front ? slot.code.load(content_.data(), slot.bit) : std::nullopt;
      if (const auto total = raw ? plan_.total_of(*raw) : std::nullopt) end = *total;
    }
    return std::min(end, std::max(plan_.most, least));
  }

  SpelledPart& add(SpelledPart::What what, std::string name, std::size_t bit, std::size_t bits) {
    SpelledPart& part = spelled_.parts.emplace_back();
    part.what = what;
    part.name = std::move(name);
    part.bit = bit;
    part.bits = bits;
    take_bytes(part);
    return part;
  }

  void take_bytes(SpelledPart& part) const {
    const std::size_t end = std::min((part.bit + part.bits + 7) / 8, content_.size());
    for (std::size_t byte = part.bit / 8; byte < end; ++byte) part.bytes.push_back(content_[byte]);
  }

  /// The frame stops before the part does.
  bool cut_off(SpelledPart& part) const {
    if (part.bit + part.bits <= 8 * content_.size()) return false;
    const std::size_t there = content_.size() > part.bit / 8 ? content_.size() - part.bit / 8 : 0;
    part.wrong = there == 0 ? "the frame ends before it, " + counted_bytes(end_ - content_.size()) + " short"
                            : "the frame ends within it, " + counted_bytes(end_ - content_.size()) + " short";
    return true;
  }

  void rest(std::size_t bit, std::size_t bits, std::string wrong) {
    add(SpelledPart::What::rest, "", bit, bits).wrong = std::move(wrong);
  }

  void field(const FieldSpec& spec, const PartPlace& place) {
    const std::size_t slot = plan_.slot_named(spec.name);
    SpelledPart& part =
        add(SpelledPart::What::field, spec.name, 8 * plan_.zones.place(place.zone, 0, end_) + place.bit, place.bits);
    if (cut_off(part)) return;
    read_field(plan_.slots[slot].code, spec, part, plan_.slots[slot].demanded);
    if (!part.wrong.empty() || !part.raw) return;
    if (slot == plan_.size) size_field(part);
    if (slot == plan_.size_again && plan_.size != no_index && *part.raw != spelled_.frame.field[plan_.size] &&
        spelled_.damage != Damage::too_short) {
      part.expected = spelled_.frame.field[plan_.size];
      part.wrong = "is not what " + plan_.slots[plan_.size].spec->name + " says; " + std::to_string(*part.expected) +
                   " would be right";
    }
  }

  void size_field(SpelledPart& part) const {
    const auto total = plan_.total_of(*part.raw);
    if (total == content_.size()) return;
    const std::size_t around = plan_.total_for(0);
    const auto payload = content_.size() - std::min(around, content_.size());
    const auto plain = plan_.blocks ? plan_.blocks->payload(payload) : std::optional(payload);
    const std::string there = "and there are " + std::to_string(content_.size());
    part.wrong = total ? "says a frame of " + counted_bytes(*total) + ", " + there
                       : "says a size that no frame of this shape has, " + there + " bytes";
    if (content_.size() < around || !plain || plan_.payload_bytes(*plain) != *plain) return;
    part.expected = plan_.raw_size_of(*plain);
    part.wrong += "; " + std::to_string(*part.expected) + " would be right";
  }

  void read_field(const FieldCode& code, const FieldSpec& spec, SpelledPart& part, bool demanded) const {
    if (code.varies) {
      part.raw = code.load_text(content_.data() + part.bit / 8, part.bits / 8);
    } else {
      part.raw = code.load(content_.data(), part.bit);
    }
    if (!part.raw) {
      part.wrong = spec.digits == Digits::bcd        ? "not all of it are decimal digits"
                   : spec.digits == Digits::hex_text ? "not all of it are digits 0-9 and A-F (lower case is none)"
                                                     : "not all of it are digits 0-9";
      return;
    }
    if (demanded && *part.raw != *spec.constant) {
      part.expected = *spec.constant;
      part.wrong = "is " + in_hex(*part.raw, part.bits) + ", " + in_hex(*spec.constant, part.bits) + " would be right";
    }
    const std::int64_t value = value_of_raw(spec.scale, *part.raw, spec.bits, spec.is_signed);
    if (value != static_cast<std::int64_t>(*part.raw) || !spec.unit.empty()) part.value = value;
    part.unit = spec.unit;
  }

  void check_value(const CheckSpec& spec, const CheckPlan& plan) {
    SpelledPart& part = add(SpelledPart::What::check, spec.name, 8 * plan_.zones.place(plan.zone(), plan.byte(), end_),
                            8 * plan.bytes());
    if (cut_off(part)) return;
    const auto whole = content_.first(std::min(end_, content_.size()));
    if (whole.size() < plan_.zones.front + plan_.zones.back || whole.size() < end_) {
      part.wrong = "cannot be computed over a frame that is cut off";
      return;
    }
    judge_check(plan.stands(whole, plan_.zones), plan.value_over(whole, plan_.zones), spec, part);
  }

  static void judge_check(std::optional<std::uint64_t> stands, std::uint64_t expected, const CheckSpec& spec,
                          SpelledPart& part) {
    part.raw = stands;
    part.expected = expected;
    if (stands == std::optional(expected)) return;
    const std::string right = in_hex(expected, spec.width());
    part.wrong = stands ? "is " + in_hex(*stands, spec.width()) + " and should be " + right + " over the bytes heard"
                        : "not all of it are digits; it should say " + right;
  }

  /// The payload in its blocks, or in one piece: values first, then what is left.
  void payload(const PartSpec& spec) {
    const std::size_t from = plan_.zones.front;
    const std::size_t to = std::min(end_ - plan_.zones.back, content_.size());
    if (to <= from) {
      if (content_.size() >= end_) values({}, from);
      return;
    }
    const auto sent = content_.subspan(from, to - from);
    if (!plan_.blocks) return values(sent, from);
    const std::size_t check_bytes = plan_.blocks->check.bytes();
    std::vector<SpelledPart> checks;
    Content plain;
    places_of_plain_.clear();
    for (std::size_t at = 0, number = 0; at < sent.size(); ++number) {
      const std::size_t left = sent.size() - at;
      const std::size_t block = std::min(plan_.blocks->bytes, left > check_bytes ? left - check_bytes : left);
      for (std::size_t i = 0; i < block; ++i) {
        plain.push_back(sent[at + i]);
        places_of_plain_.push_back(from + at + i);
      }
      SpelledPart check;
      check.what = SpelledPart::What::check;
      check.name = spec.block_check->name + "[" + std::to_string(number) + "]";
      check.bit = 8 * (from + at + block);
      check.bits = 8 * check_bytes;
      take_bytes(check);
      if (left > check_bytes) {
        judge_check(plan_.blocks->check.stands_at(sent.data() + at + block),
                    plan_.blocks->check.value_of(sent.subspan(at, block)), *spec.block_check, check);
      } else {
        check.wrong = "the block ends before its check does";
      }
      checks.push_back(std::move(check));
      at += block + check_bytes;
    }
    const std::size_t first = spelled_.parts.size();
    plain_ = plain;
    values(plain_.view(), from);
    for (SpelledPart& check : checks) spelled_.parts.push_back(std::move(check));
    std::stable_sort(spelled_.parts.begin() + static_cast<std::ptrdiff_t>(first), spelled_.parts.end(),
                     [](const SpelledPart& a, const SpelledPart& b) { return a.bit < b.bit; });
    places_of_plain_.clear();
  }

  /// Where a bit of the payload stands in the content.
  [[nodiscard]] std::size_t bit_in_content(std::size_t bit, std::size_t from) const {
    if (places_of_plain_.empty()) return 8 * from + bit;
    const std::size_t byte = std::min(bit / 8, places_of_plain_.size() - 1);
    return 8 * places_of_plain_[byte] + bit % 8 + 8 * (bit / 8 - byte);
  }

  void values(std::span<const std::uint8_t> payload, std::size_t from) {
    const LayoutPlan ask = spelled_.topic ? LayoutPlan(bus_.topics[*spelled_.topic].ask, nullptr) : LayoutPlan();
    const bool refuses = spelled_.role == Role::refusal;
    if (!refuses && !spelled_.topic) {
      if (!payload.empty()) rest(8 * from, 8 * payload.size(), names_no_topic());
      return;
    }
    const Layout& layout = refuses                         ? bus_.roles.refusal
                           : spelled_.role == Role::answer ? bus_.topics[*spelled_.topic].answer
                                                           : bus_.topics[*spelled_.topic].ask;
    const LayoutPlan plan(layout, spelled_.role == Role::answer ? &ask : nullptr);
    std::size_t at = 0;
    Place last;
    const bool whole =
        plan.read(payload, true, [&](std::size_t item, std::size_t number, std::uint32_t turn, std::uint64_t raw) {
          const ItemPlan& place = plan.items()[item];
          const FieldPlan& field = place.fields[number];
          std::string name = field.spec->name;
          if (place.group != nullptr) name = place.group->name + "[" + std::to_string(turn) + "]." + name;
          const std::size_t width =
              field.code.varies ? field.code.bits_at(payload.data(), at, 8 * payload.size() - at) : field.code.bits;
          SpelledPart& part = add(SpelledPart::What::value, std::move(name), bit_in_content(at, from), width);
          const auto own = payload.subspan(at / 8, (at + width + 7) / 8 - at / 8);
          part.bytes.assign(own.begin(), own.end());
          last = {item, number, turn, true};
          part.raw = raw;
          const std::int64_t value = field.value(raw);
          if (value != static_cast<std::int64_t>(raw) || !field.spec->unit.empty()) part.value = value;
          part.unit = field.spec->unit;
          at += width;
          return true;
        });
    const std::string next = whole ? "" : next_after(plan, last);
    what_is_left(payload, at, from, next);
  }

  /// A value of the payload.
  struct Place {
    std::size_t item = 0;
    std::size_t field = 0;
    std::uint32_t turn = 0;
    bool any = false;  // false: before the first
  };

  /// Name of the value that should come behind `last`, with what it must be if it is a constant.
  static std::string next_after(const LayoutPlan& plan, Place last) {
    const auto& items = plan.items();
    if (last.any) {
      const bool more_fields = last.field + 1 < items[last.item].fields.size();
      if (more_fields) {
        ++last.field;
      } else {
        last.field = 0;
        // A group that did not come to its end goes on with another turn of it.
        if (items[last.item].group != nullptr) {
          ++last.turn;
        } else {
          ++last.item;
          last.turn = 0;
        }
      }
    }
    if (last.item >= items.size()) return "";
    const ItemPlan& item = items[last.item];
    const FieldSpec& field = *item.fields[last.field].spec;
    std::string name = field.name;
    if (item.group != nullptr) name = item.group->name + "[" + std::to_string(last.turn) + "]." + name;
    if (field.constant) name += ", which is always " + in_hex(*field.constant, field.bits);
    return name;
  }

  /// Payload bytes behind the last value that could be read. `next`: the value that should come and does not.
  void what_is_left(std::span<const std::uint8_t> payload, std::size_t at, std::size_t from, const std::string& next) {
    const std::size_t left = 8 * payload.size() - at;
    std::string wrong;
    if (!next.empty()) {
      wrong = left > 0 ? "should be " + next + ", and cannot be read as that" : "ends before " + next;
    } else if (left > 0 && bus_.framing.kind != FramingKind::fixed) {
      wrong = "the payload is over: " + counted_bytes(left / 8) + " too many";
    }
    if (left == 0 && wrong.empty()) return;
    const std::size_t first = spelled_.parts.size();
    rest(bit_in_content(at, from), left, wrong);
    const auto own = payload.subspan(at / 8);
    spelled_.parts[first].bytes.assign(own.begin(), own.end());
  }

  [[nodiscard]] std::string names_no_topic() const {
    if (plan_.topic == no_index || !plan_.has(plan_.topic)) return "frames of this shape have no payload";
    std::string known;
    for (const TopicSpec& topic : bus_.topics) {
      const std::uint64_t code = spelled_.role == Role::ask ? topic.code : topic.answer_code.value_or(topic.code);
      known += (known.empty() ? "" : ", ") + std::to_string(code) + " (" + topic.name + ")";
    }
    return "no topic has the code " + std::to_string(spelled_.frame.field[plan_.topic]) + "; the codes are " + known;
  }

  const BusDescription& bus_;
  FramePlan plan_;
  std::vector<PartPlace> places_;
  std::span<const std::uint8_t> content_;
  Spelled& spelled_;
  std::size_t end_;
  std::vector<std::size_t> places_of_plain_;  // of each payload byte that stands in blocks
  Content plain_;
};

bool tells_role(const Protocol& protocol, const Frame& frame) {
  return protocol.description().roles.tell_role == TellRole::by_field || protocol.shape_tells_role(frame) ||
         frame.role == Role::refusal;
}

}  // namespace

Spelled spelled_out(const Protocol& protocol, std::span<const std::uint8_t> content, std::optional<Role> role) {
  Spelled spelled;
  spelled.damage = protocol.parse(content, spelled.frame);
  spelled.shape = spelled.frame.shape;
  // Too short or too long, its head can be read all the same.
  const FramePlan plan(protocol.description(), spelled.shape);
  if (spelled.damage == Damage::too_short || spelled.damage == Damage::too_long) {
    for (std::size_t i = 0; i < plan.slots.size(); ++i) {
      const SlotPlan& slot = plan.slots[i];
      const bool there = slot.here && slot.zone == Zone::front && slot.end_byte() <= content.size();
      spelled.frame.field[i] = there ? slot.code.load(content.data(), slot.bit).value_or(0) : 0;
    }
    spelled.frame.payload.clear();
    const auto& roles = protocol.description().roles;
    spelled.frame.role = plan.only_role.value_or(Role::ask);
    for (const auto& [each, code] : roles.role_codes) {
      if (plan.has(plan.role) && spelled.frame.field[plan.role] == code) spelled.frame.role = each;
    }
  }
  spelled.role = spelled.frame.role;
  if (!tells_role(protocol, spelled.frame)) {
    spelled.role_taken = true;
    Frame answer = spelled.frame;
    answer.role = Role::answer;
    const bool reads = protocol.reads_as_ask(spelled.frame) || !protocol.reads_as_answer(answer);
    spelled.role = role.value_or(reads ? Role::ask : Role::answer);
    spelled.frame.role = spelled.role;
  }
  spelled.topic = protocol.topic(spelled.frame);
  Speller(protocol, content, spelled).spell();
  for (std::size_t i = 0; i < spelled.parts.size(); ++i) {
    if (spelled.parts[i].wrong.empty()) continue;
    const bool sooner = !spelled.first_wrong || spelled.parts[i].bit < spelled.parts[*spelled.first_wrong].bit;
    if (sooner) spelled.first_wrong = i;
  }
  return spelled;
}

}  // namespace hopbench

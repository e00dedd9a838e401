#include "text/flaw_loader.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string>
#include <string_view>
#include <vector>

#include "bus/frame.h"
#include "text/readers.h"
#include "text/suggest.h"
#include "text/topic_check.h"

namespace hopbench {
namespace {

const FieldSpec* header_field(const BusDescription& bus, std::string_view name) {
  if (name.empty()) return nullptr;
  const auto found = std::find_if(bus.parts.begin(), bus.parts.end(),
                                  [&](const PartSpec& part) { return part.field && part.field->name == name; });
  return found == bus.parts.end() ? nullptr : &*found->field;
}

bool names(const FieldSpec& field, std::string_view quantity) { return field.quantity == quantity; }

bool names(const Layout& layout, std::string_view quantity) {
  return std::any_of(layout.begin(), layout.end(), [&](const LayoutItem& item) {
    if (item.field) return names(*item.field, quantity);
    return std::any_of(item.group->fields.begin(), item.group->fields.end(),
                       [&](const FieldSpec& field) { return names(field, quantity); });
  });
}

/// Whether any answer tells this quantity.
bool tells(const BusDescription& bus, std::string_view quantity) {
  return std::any_of(bus.topics.begin(), bus.topics.end(),
                     [&](const TopicSpec& topic) { return names(topic.answer, quantity); }) ||
         std::any_of(bus.registers.begin(), bus.registers.end(),
                     [&](const RegisterSpec& span) { return span.quantity == quantity; });
}

bool tells_cells(const BusDescription& bus) { return tells(bus, "cell_mv") || tells(bus, "cell_uv"); }

std::size_t longest_frame(const BusDescription& bus) {
  if (bus.framing.kind == FramingKind::fixed) return bus.framing.fixed_bytes;
  return bus.framing.max_bytes != 0 ? bus.framing.max_bytes : max_frame_bytes;
}

class Reader {
 public:
  Reader(const text::Flaw& flaw, const Spot& spot, const KindSpec& kind, const BusDescription* bus)
      : flaw_(&flaw), spot_(spot), kind_(&kind), bus_(bus) {}

  FlawSpec read() {
    const google::protobuf::FieldDescriptor* given =
        flaw_->GetReflection()->GetOneofFieldDescriptor(*flaw_, flaw_->GetDescriptor()->oneof_decl(0));
    if (given == nullptr) {
      spot_.say("flaw needs one mistake, for example flaw { answers_broadcast: true }");
      return {};
    }
    field_ = given->name();
    const bool plain = given->cpp_type() == google::protobuf::FieldDescriptor::CPPTYPE_BOOL;
    if (plain && !flaw_->GetReflection()->GetBool(*flaw_, given)) {
      say(fmt::format("{}: false is no mistake; leave the flaw out", field_));
      return {};
    }
    switch (flaw_->mistake_case()) {
      case text::Flaw::kAnswersBroadcast:
        return answers_broadcast();
      case text::Flaw::kForgetsTopic:
        needs_whole_frames();
        check_topic(here(), flaw_->forgets_topic(), bus_);
        return {Flaw::forgets_topic, flaw_->forgets_topic(), 0, 0};
      case text::Flaw::kRepeatsNumber:
        needs_number();
        return {Flaw::repeats_number, {}, 0, 0};
      case text::Flaw::kNumberBits:
        needs_number();
        if (bus_ != nullptr) fewer_bits_than(header_field(*bus_, bus_->roles.exchange), flaw_->number_bits());
        return {Flaw::number_bits, {}, flaw_->number_bits(), 0};
      case text::Flaw::kAddressBits:
        return address_bits();
      case text::Flaw::kStaleSnapshot:
        needs(bus_ == nullptr || tells_cells(*bus_), "no answer that tells the voltage of a cell");
        return {Flaw::stale_snapshot, {}, 0, 0};
      case text::Flaw::kRewritesField:
        return rewrites_field();
      case text::Flaw::kRemakesChecks:
        needs_whole_frames();
        needs(bus_ == nullptr || std::any_of(bus_->parts.begin(), bus_->parts.end(),
                                             [](const PartSpec& part) { return part.check.has_value(); }),
              "no check");
        return {Flaw::remakes_checks, {}, 0, 0};
      case text::Flaw::kActsAgainAfter:
        return acts_again_after();
      case text::Flaw::kCellsOffByOne:
        needs(bus_ == nullptr || tells_cells(*bus_), "no answer that tells the voltage of a cell");
        if (kind_->cells < 2) say("cells_off_by_one goes with two cells or more");
        return {Flaw::cells_off_by_one, {}, 0, 0};
      case text::Flaw::kCountsOneMore:
        needs(bus_ == nullptr || tells(*bus_, "cell_count"), "no answer that tells the number of cells");
        return {Flaw::counts_one_more, {}, 0, 0};
      case text::Flaw::kAnswersUnknownTopic:
        needs(bus_ == nullptr || !bus_->roles.topic.empty(), "no topics in its frames");
        if (kind_->topics.empty()) say("answers_unknown_topic goes with a kind that states the topics that it knows");
        return {Flaw::answers_unknown_topic, {}, 0, 0};
      case text::Flaw::kHangsAboveBytes:
        return hangs_above_bytes();
      case text::Flaw::MISTAKE_NOT_SET:
        break;
    }
    return {};
  }

 private:
  [[nodiscard]] Spot here() const { return spot_.in(field_); }
  void say(std::string what) const { here().say(std::move(what)); }
  void needs(bool has, std::string_view lacks) const {
    if (!has) say(fmt::format("{} cannot be: the bus {} has {}", field_, bus_->name, lacks));
  }
  void needs_number() const { needs(bus_ == nullptr || !bus_->roles.exchange.empty(), "no exchange number"); }
  void needs_whole_frames() const {
    if (kind_->forwarding.kind != Forwarding::whole)
      say(fmt::format("{} goes with forwarding of whole frames: forwarding {{ whole {{ }} }}", field_));
  }
  void fewer_bits_than(const FieldSpec* field, std::uint64_t bits) const {
    if (field == nullptr) return;
    if (bits < 1 || bits >= field->bits)
      say(fmt::format("{} must be 1 to {}: {} of the bus {} has {} bits", field_, field->bits - 1,
                      in_quotes(field->name), bus_->name, field->bits));
  }

  FlawSpec answers_broadcast() const {
    if (bus_ != nullptr) {
      needs(!bus_->roles.broadcast.empty(), "no address that means everyone");
      if (bus_->forward.broadcast_answered)
        say(fmt::format("answers_broadcast is no mistake: on the bus {} nodes answer what is asked of everyone",
                        bus_->name));
    }
    return {Flaw::answers_broadcast, {}, 0, 0};
  }

  FlawSpec address_bits() const {
    if (bus_ != nullptr) {
      needs(!bus_->roles.destination.empty(), "no addresses");
      fewer_bits_than(header_field(*bus_, bus_->roles.destination), flaw_->address_bits());
    }
    return {Flaw::address_bits, {}, flaw_->address_bits(), 0};
  }

  FlawSpec rewrites_field() const {
    needs_whole_frames();
    const std::string& wanted = flaw_->rewrites_field();
    if (bus_ != nullptr) {
      const FieldSpec* field = header_field(*bus_, wanted);
      std::vector<std::string> free;
      for (const PartSpec& part : bus_->parts) {
        if (part.field && part.field->sent_only) free.push_back(part.field->name);
      }
      if (free.empty()) {
        needs(false, "no header field in which others may send another value (sent_only)");
      } else if (field == nullptr) {
        say(fmt::format("the bus {} has no header field {}{}", bus_->name, in_quotes(wanted),
                        suggestion(wanted, free)));
      } else if (!field->sent_only) {
        say(fmt::format("in {} nobody may send another value; {} is one in which others may", in_quotes(wanted),
                        in_quotes(free.front())));
      }
    }
    return {Flaw::rewrites_field, wanted, 0, 0};
  }

  FlawSpec acts_again_after() const {
    FlawSpec flaw{Flaw::acts_again_after, {}, 0, 0};
    read_span(spot_, "acts_again_after", flaw_->acts_again_after(), flaw.after, Zero::refused);
    needs(bus_ == nullptr || std::any_of(bus_->topics.begin(), bus_->topics.end(),
                                         [](const TopicSpec& topic) { return topic.changes; }),
          "no topic that changes anything");
    return flaw;
  }

  FlawSpec hangs_above_bytes() const {
    const std::uint64_t bytes = flaw_->hangs_above_bytes();
    const std::size_t longest = bus_ == nullptr ? max_frame_bytes : longest_frame(*bus_);
    if (bytes < 1 || bytes >= longest)
      say(fmt::format("hangs_above_bytes must be 1 to {}: no frame{} is longer than {} bytes", longest - 1,
                      bus_ == nullptr ? "" : " of the bus " + bus_->name, longest));
    return {Flaw::hangs_above_bytes, {}, bytes, 0};
  }

  const text::Flaw* flaw_;
  Spot spot_;
  const KindSpec* kind_;
  const BusDescription* bus_;
  std::string field_;
};

}  // namespace

FlawSpec flaw_from(const text::Flaw& flaw, const Spot& spot, const KindSpec& kind, const BusDescription* bus) {
  return Reader(flaw, spot, kind, bus).read();
}

}  // namespace hopbench

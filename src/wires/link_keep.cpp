// What a link goes on with when nothing is on it.
#include "wires/link.h"

namespace hopbench {
namespace {

void keep_content(Archive& archive, std::string_view what, Content& content) {
  std::vector<std::uint8_t> bytes(content.view().begin(), content.view().end());
  archive.list(what, bytes, [&](std::uint8_t& byte) { archive.number("byte", byte); });
  if (archive.good() && archive.restores()) content.assign(bytes);
}

void keep_frame(Archive& archive, Frame& frame) {
  auto role = static_cast<std::uint8_t>(frame.role);
  archive.number("role", role, std::uint8_t{0}, static_cast<std::uint8_t>(Role::notice));
  frame.role = static_cast<Role>(role);
  archive.number("shape", frame.shape);
  archive.all("field", frame.field, [&](std::uint64_t& field) { archive.number("field", field); });
  keep_content(archive, "payload", frame.payload);
}

void keep_holdups(Archive& archive, Holdups& holdups) {
  for (Nanos& each : holdups.without) archive.span("without", each);
  archive.number("busy station", holdups.busy_station);
  archive.span("busy there", holdups.busy_there);
  archive.number("held by", holdups.fault);
  archive.span("held", holdups.fault_held);
}

void keep_parcel(Archive& archive, const Protocol& protocol, Parcel& parcel) {
  keep_frame(archive, parcel.frame);
  archive.flag("raw", parcel.raw);
  if (parcel.raw) keep_content(archive, "content", parcel.content);
  // Sent again by a fault it goes under another name, for a fake. Only this is left of its passport.
  archive.flag("inherited", parcel.passport.inherited);
  keep_holdups(archive, parcel.passport.holdups);
  if (!archive.good() || !archive.restores()) return;
  const bool fits = protocol.content_bytes(parcel.frame) <= max_frame_bytes && !(parcel.raw && parcel.content.empty());
  if (!fits) archive.refuse("frame", "no frame of this bus");
}

}  // namespace

void Link::keep(Archive& archive) {
  conditions_.keep(archive, works_->queue.now());
  ear_.keep(archive);
  archive.span("free at", free_at_);
  occupied_.keep(archive);
  archive.maybe("sent before", previous_, [&](Parcel& parcel) { keep_parcel(archive, works_->protocol, parcel); });
}

}  // namespace hopbench

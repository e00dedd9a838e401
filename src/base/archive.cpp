#include "base/archive.h"

namespace hopbench {

void Archive::refuse(std::string_view what, std::string_view why) {
  if (!good()) return;
  why_ = std::string(what) + ": " + std::string(why);
}

void Archive::name_place(std::string_view what, std::size_t place) {
  why_ = std::string(what) + " " + std::to_string(place + 1) + ": " + why_;
}

std::uint64_t Archive::unsigned_number(std::string_view what, std::uint64_t value, std::uint64_t least,
                                       std::uint64_t most) {
  names_ = name_hash(what, names_);
  if (!good()) return value;
  const std::uint64_t number = restores_ ? reader_.get() : value;
  if (!reader_.good()) {
    refuse(what, "the bytes end here, or are no number");
    return value;
  }
  if (number < least || number > most) {
    refuse(what, "out of range");
    return value;
  }
  if (!restores_) writer_.put(number);
  return number;
}

std::int64_t Archive::signed_number(std::string_view what, std::int64_t value, std::int64_t least, std::int64_t most) {
  const std::uint64_t any = std::numeric_limits<std::uint64_t>::max();
  const std::int64_t number = unfolded(unsigned_number(what, folded(value), 0, any));
  if (number < least || number > most) refuse(what, "out of range");
  return good() ? number : value;
}

void Archive::span_or_never(std::string_view what, Nanos& value) {
  bool ever = value != never;
  flag(what, ever);
  if (!good()) return;
  if (ever) {
    if (value == never) value = 0;
    span(what, value);
  } else {
    value = never;
  }
}

void Archive::end() {
  const std::uint64_t named = names_;
  std::uint64_t names = named;
  number("end", names);
  if (!good() || !restores_) return;
  if (names != named) refuse("end", "the state was taken down by another version");
  if (reader_.left() != 0) refuse("end", "more bytes than state");
}

}  // namespace hopbench

// Values for a frame that no node fills: those that a person gave, and stand-ins for the others.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "bus/protocol.h"

namespace hopbench {

class StandIn final : public PayloadSource {
 public:
  using Given = std::map<std::string, std::vector<std::int64_t>, std::less<>>;

  /// `given`: values by the name of a field or quantity. Of a field that repeats, and of a quantity of cells, the first
  /// value is that of the first, and the last serves all further ones. A field's are raw numbers, a quantity's are in
  /// its unit. `topic` must outlive this: it says which fields nothing else fills, and which of them count.
  StandIn(Given given, const TopicSpec& topic);

  std::optional<std::int64_t> quantity(std::string_view name, std::uint32_t index) override;
  std::optional<std::uint64_t> argument(std::string_view field) override { return argument_in(field, 0); }
  std::optional<std::uint64_t> argument_in(std::string_view field, std::uint32_t repetition) override;

  /// What was taken without being given: name and value, in order of names.
  [[nodiscard]] const std::map<std::string, std::int64_t>& taken() const { return taken_; }
  /// Names that were given and never asked for.
  [[nodiscard]] std::vector<std::string> unused() const;

 private:
  std::optional<std::int64_t> given(std::string_view name, std::uint32_t index);

  Given given_;
  std::set<std::string, std::less<>> bare_;    // fields that nothing else fills
  std::set<std::string, std::less<>> counts_;  // of them, those that say how many
  std::map<std::string, std::int64_t> taken_;
  std::set<std::string, std::less<>> used_;
};

}  // namespace hopbench

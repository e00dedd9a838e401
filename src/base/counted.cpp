#include "base/counted.h"

namespace hopbench {

std::string grouped(std::uint64_t value) {
  std::string text = std::to_string(value);
  for (std::size_t at = text.size(); at > 3;) {
    at -= 3;
    text.insert(at, 1, ',');
  }
  return text;
}

std::string counted(std::uint64_t number, std::string_view one, std::string_view several) {
  std::string text = grouped(number) + " ";
  if (number != 1 && !several.empty()) return text.append(several);
  text.append(one);
  return number == 1 ? text : text + "s";
}

}  // namespace hopbench

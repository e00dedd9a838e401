#include "books/passport.h"

#include <string_view>

#include "base/luck.h"

namespace hopbench {

std::uint64_t fingerprint(const Content& payload) {
  const auto bytes = payload.view();
  return name_hash(std::string_view(reinterpret_cast<const char*>(bytes.data()), bytes.size()));
}

}  // namespace hopbench

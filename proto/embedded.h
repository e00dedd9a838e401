// Files that are part of the binary: the bus descriptions that come with it ("buses/NAME.txtpb") and the descriptions of
// the text formats with their comments ("descriptors.bin", a FileDescriptorSet).
#pragma once

#include <span>
#include <string_view>

namespace hopbench {

struct EmbeddedFile {
  std::string_view name;
  std::string_view bytes;
};

/// All of them, ordered by name. The bytes live as long as the program.
std::span<const EmbeddedFile> embedded_files();

}  // namespace hopbench

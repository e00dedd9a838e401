#include "record/copy_trouble.h"

#include <cerrno>
#include <cstring>
#include <utility>

namespace hopbench {

Copied refused(Copied::Trouble trouble, std::string why) {
  Copied copied;
  copied.trouble = trouble;
  copied.why = std::move(why);
  return copied;
}

Copied refused_file(const std::string& path, int error) {
  const char* remedy = error == EEXIST ? "; captures are never written over: name another or remove it (or the"
                                         " .part beside it that an interrupted command left)"
                                       : "";
  return refused(Copied::Trouble::file, path + ": " + std::strerror(error) + remedy);
}

}  // namespace hopbench

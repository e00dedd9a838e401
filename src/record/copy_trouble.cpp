#include "record/copy_trouble.h"

#include <cerrno>
#include <utility>

#include "record/new_file.h"

namespace hopbench {

Copied refused(Copied::Trouble trouble, std::string why) {
  Copied copied;
  copied.trouble = trouble;
  copied.why = std::move(why);
  return copied;
}

Copied refused_file(const std::string& path, int error) {
  const char* remedy = error == EEXIST ? "; captures are never written over: name another or remove it (or what lies"
                                         " beside it as .part)"
                                       : "";
  return refused(Copied::Trouble::file, path + ": " + file_error(error) + remedy);
}

}  // namespace hopbench

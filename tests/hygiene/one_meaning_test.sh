#!/bin/sh
# usage: one_meaning_test.sh ONE_MEANING_SH
# It finds each kind of double that is planted, and nothing that is allowed.
set -eu
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
mkdir -p "$folder/src/a" "$folder/src/b" "$folder/tests/a" "$folder/tests/b" "$folder/tools"

file() { # file NAME: the standard input, in the namespace
  { echo "namespace hopbench {"; cat; echo "}  // namespace hopbench"; } >"$folder/$1"
}
allowed() {
  file src/a/one.h <<'END'
struct Place {
  struct Part {
    int x = 0;
  };
};
class Later;
enum class Kind : unsigned char { one };
using Level = int;
inline int width_of(const Place& place) { return 1; }
std::string_view name_of(Kind kind);
END
  file src/b/two.cpp <<'END'
namespace {

struct Local {};
int helper(int x) { return x; }

}  // namespace

class Later {
  struct Part {};
};
std::string_view name_of(Kind kind) { return "one"; }
std::string_view name_of(const Place& place,
                         int number) {
  return "place";
}
static int hidden(int x) { return x; }
bool Later::is(int x) { return x > 0; }
bool Place::is(int x) { return x > 0; }
END
  file src/b/three.cpp <<'END'
namespace {

struct Local {};
int helper(int x) { return x; }

}  // namespace

static int hidden(int x) { return x; }
END
  printf 'namespace hopbench::other {\nstruct Place {};\n}  // namespace hopbench::other\n' >"$folder/src/b/other.h"
  file tests/a/a_test.cpp <<'END'
struct Sample {};
END
  file tests/b/b_test.cpp <<'END'
struct Sample {};
END
}
planted() { # planted WHAT FILE: with the standard input in FILE, WHAT is told of
  file "$2"
  if told=$(sh "$script" "$folder"); then
    echo "a double of $1 was not found"
    exit 1
  fi
  case $told in
    *"$1"*) ;;
    *) echo "a double of $1 was planted, and this told: $told"; exit 1 ;;
  esac
  rm "$folder/$2"
}

script=$1
allowed
sh "$script" "$folder"
echo 'struct Place {};' | planted "hopbench::Place" src/b/four.h
echo 'class Later final : public Base {' | planted "hopbench::Later" src/a/four.cpp
echo 'enum class Kind : unsigned char {' | planted "hopbench::Kind" src/b/four.h
echo 'using Level = long;' | planted "hopbench::Level" src/b/four.h
printf '[[nodiscard]] inline long width_of(\n    const Place& other) {\n  return 2;\n}\n' |
  planted "hopbench::width_of(const Place&)" src/b/four.h
echo 'std::string_view name_of(Kind each) { return "two"; }' | planted "hopbench::name_of(Kind)" src/a/four.cpp
echo 'struct Place {};' | planted "hopbench::Place" tests/a/four.cpp
echo 'struct Sample {};' | planted "hopbench::Sample" tests/a/other_test.cpp
sh "$script" "$folder"

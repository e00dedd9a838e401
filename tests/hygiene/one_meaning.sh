#!/bin/sh
# usage: one_meaning.sh SOURCE_DIR
# One name, one meaning: no type and no function is defined twice in one namespace. Where two are, each file is right by
# itself, and the linker takes one of them for both. Without the anonymous namespaces and what is static, which no other
# file sees. Reads the sources as clang-format leaves them: what stands in a namespace begins in the first column.
cd "$1" || exit 1
bad=$(find src tests tools \( -name '*.h' -o -name '*.cpp' \) | LC_ALL=C sort | xargs awk '
  # Files that end up in one program: all headers, all of src and tests/support, and the sources of one other folder.
  function program(file) {
    if (file ~ /\.h$/ || file ~ /^src\// || file ~ /^tests\/support\//) return "any"
    sub(/\/[^\/]*$/, "", file)
    return file
  }
  function take(key,   i, before) {
    for (i = 1; i <= seen[key]; ++i) {
      before = where[key, i]
      if (before != FILENAME ":" FNR && (group[key, i] == "any" || program(FILENAME) == "any" || group[key, i] == program(FILENAME)))
        print FILENAME ":" FNR ": " key " is defined already: " before
    }
    ++seen[key]
    where[key, seen[key]] = FILENAME ":" FNR
    group[key, seen[key]] = program(FILENAME)
  }
  # int f(const A& a, B) -> f(const A&,B)
  function signature(text,   name, params, out, part, depth, i, c) {
    name = substr(text, 1, index(text, "(") - 1)
    sub(/ +$/, "", name)
    if (name ~ /::operator/) return ""
    if (name ~ /operator/) sub(/^.*operator/, "operator", name)
    else sub(/^.*[ &*]/, "", name)
    if (name == "" || name ~ /::/ || name == "main" || name ~ /^[A-Z_]+$/) return ""
    params = substr(text, index(text, "(") + 1)
    out = part = ""
    depth = 0
    for (i = 1; i <= length(params); ++i) {
      c = substr(params, i, 1)
      if (c == ")" && depth == 0) break
      if (c ~ /[<(]/) ++depth
      if (c ~ /[>)]/) --depth
      if (c == "," && depth == 0) {
        out = out unnamed(part) ","
        part = ""
      } else {
        part = part c
      }
    }
    return name "(" out unnamed(part) ")"
  }
  function unnamed(part) {
    sub(/^ +/, "", part)
    sub(/ +$/, "", part)
    if (part !~ /^(const )?[A-Za-z_0-9:]+$/) sub(/ *[A-Za-z_0-9]+$/, "", part)
    return part
  }
  FNR == 1 { space = ""; statement = "" }
  /^namespace [A-Za-z_0-9:]+ \{/ { space = space $2 "::"; next }
  /^namespace \{/ { space = space "-::"; next }
  /^\}  \/\/ namespace/ {
    if ($4 == "") $4 = "-"
    space = substr(space, 1, length(space) - length($4) - 2)
    next
  }
  space ~ /-::/ || /^[ }#\/]/ && statement == "" { next }
  statement == "" && /^(class|struct|union|enum) / && (/\{/ || !/;$/) {
    name = $0
    sub(/^(enum class|enum struct|class|struct|union|enum) +/, "", name)
    sub(/[^A-Za-z_0-9:].*$/, "", name)
    if (name != "") take(space name)
    next
  }
  statement == "" && /^using [A-Za-z_0-9]+ =/ { take(space $2); next }
  statement == "" && /^(static|extern|using|typedef|template|friend|class|struct|union|enum|public|private|protected) ?/ && !/^template.*> [a-z]/ { next }
  /^[A-Za-z[]/ || statement != "" {
    statement = statement (statement == "" ? "" : " ") $0
    if ($0 !~ /[{;]/) next
    text = statement
    statement = ""
    gsub(/  +/, " ", text)
    head = text
    sub(/[{;].*$/, "", head)
    if (text !~ /\{/ || head !~ /\(/ || index(text, ";") && index(text, ";") < index(text, "{")) next
    before = substr(head, 1, index(head, "(") - 1)
    if (before ~ /=/ && before !~ /operator/) next
    name = signature(head)
    if (name != "") take(space name)
  }
')
if [ -n "$bad" ]; then
  echo "$bad"
  exit 1
fi

#include "view/page.h"

#include <cstdlib>
#include <fstream>

#include "support/catch.h"
#include "view/paragraph.h"

using namespace hopbench;

TEST_CASE("without a terminal COLUMNS tells how wide a page is, and 80 if it does not") {
  constexpr int no_file = -1;
  const char* before = std::getenv("COLUMNS");
  const std::string kept = before == nullptr ? "" : before;
  setenv("COLUMNS", "64", 1);
  CHECK(columns_of(no_file) == 64);
  for (const char* nonsense : {"", "0", "-3", "wide", "64x"}) {
    setenv("COLUMNS", nonsense, 1);
    CHECK(columns_of(no_file) == 80);
  }
  unsetenv("COLUMNS");
  CHECK(columns_of(no_file) == 80);
  if (before != nullptr) setenv("COLUMNS", kept.c_str(), 1);
}

TEST_CASE("a page is neither too narrow nor too wide to be read") {
  CHECK(page_width() == 80);
  set_page_width(500);
  CHECK(page_width() == 100);
  set_page_width(1);
  CHECK(page_width() == 40);
  set_page_width(80);
}

TEST_CASE("a paragraph counts characters, not bytes") {
  CHECK(paragraph(0, "", "äöü äöü äöü", 7) == "äöü äöü\näöü\n");
  CHECK(paragraph(2, "a: ", "b c d", 8) == "  a: b c\n     d\n");
}

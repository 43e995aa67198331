#include "store/csv.h"

#include <gtest/gtest.h>

namespace endgrade::store {
namespace {

TEST(CsvCell, QuotesAsRfc4180Does) {
  EXPECT_EQ(CsvCell("plain"), "plain");
  EXPECT_EQ(CsvCell("a,b"), "\"a,b\"");
  EXPECT_EQ(CsvCell("say \"so\""), "\"say \"\"so\"\"\"");
}

// OWASP, CSV Injection: cells that start so are run as formulas by spreadsheets (from memory).
TEST(CsvCell, IsNoFormula) {
  EXPECT_EQ(CsvCell("=HYPERLINK(\"x\")"), "\"'=HYPERLINK(\"\"x\"\")\"");
  for (const char* text : {"+1", "-1", "@x", "\t=1", "\r=1"}) {
    EXPECT_EQ(CsvCell(text).substr(0, 2), "\"'") << text;
  }
}

TEST(CsvCell, HoldsNoControlCharacters) {
  EXPECT_EQ(CsvCell("a\nb"), "a\\x0ab");
  EXPECT_EQ(CsvCell("\x1b[31m"), "\\x1b[31m");
}

TEST(CsvLine, EndsInCrLf) { EXPECT_EQ(CsvLine({"a", "", "b"}), "a,,b\r\n"); }

}  // namespace
}  // namespace endgrade::store

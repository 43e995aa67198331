#include "cli/printable.h"

#include <gtest/gtest.h>

namespace endgrade::cli {
namespace {

TEST(Printable, LeavesPlainTextAndUtf8Alone) {
  EXPECT_EQ(Printable("port 07 \xC3\xA9\xE2\x82\xAC\xF0\x9F\x98\x80.jpg"),
            "port 07 \xC3\xA9\xE2\x82\xAC\xF0\x9F\x98\x80.jpg");
  EXPECT_EQ(Printable(""), "");
}

TEST(Printable, EscapesWhatWouldLeaveTheLineOrDriveTheTerminal) {
  EXPECT_EQ(Printable("a\nb\r\t\x1b[2J\x7f"), "a\\x0ab\\x0d\\x09\\x1b[2J\\x7f");
  EXPECT_EQ(Printable(std::string_view("a\0b", 3)), "a\\x00b");
  // U+009B, the one-character form of ESC [ (ECMA-48, 8.3.16).
  EXPECT_EQ(Printable("\xC2\x9B"), "\\xc2\\x9b");
  EXPECT_EQ(Printable("\xC2\xA0"), "\xC2\xA0");
}

// Cases of RFC 3629, section 3: overlong forms, surrogates, beyond U+10FFFF, cut short.
TEST(Printable, EscapesEachByteThatIsNotUtf8) {
  EXPECT_EQ(Printable("\xff"), "\\xff");
  EXPECT_EQ(Printable("\xC0\xAF"), "\\xc0\\xaf");
  EXPECT_EQ(Printable("\xE0\x80\xAF"), "\\xe0\\x80\\xaf");
  EXPECT_EQ(Printable("\xED\xA0\x80"), "\\xed\\xa0\\x80");
  EXPECT_EQ(Printable("\xF4\x90\x80\x80"), "\\xf4\\x90\\x80\\x80");
  EXPECT_EQ(Printable("\xE2\x82"), "\\xe2\\x82");
  EXPECT_EQ(Printable("\xE2\x82z"), "\\xe2\\x82z");
}

}  // namespace
}  // namespace endgrade::cli

#include "present/escape.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

TEST(PrintableText, LeavesPlainTextAndUtf8Alone) {
  EXPECT_EQ(PrintableText("port 07 \u00e9\u20ac\U0001F600 \u65e5\u672c.jpg"),
            "port 07 \u00e9\u20ac\U0001F600 \u65e5\u672c.jpg");
  EXPECT_EQ(PrintableText(""), "");
}

TEST(PrintableText, EscapesWhatWouldLeaveTheLineOrDriveTheTerminal) {
  EXPECT_EQ(PrintableText("a\nb\r\t\x1b[2J\x7f"), "a\\x0ab\\x0d\\x09\\x1b[2J\\x7f");
  EXPECT_EQ(PrintableText(std::string_view("a\0b", 3)), "a\\x00b");
  // U+009B, the one-character form of ESC [ (ECMA-48, 8.3.16).
  EXPECT_EQ(PrintableText("\xC2\x9B"), "\\xc2\\x9b");
  EXPECT_EQ(PrintableText("\xC2\xA0"), "\xC2\xA0");
}

// Unicode Standard Annex 9: U+202E shows "gpj.exe" as "exe.jpg".
TEST(PrintableText, EscapesWhatTurnsTheDirectionOfWriting) {
  EXPECT_EQ(PrintableText("\u202Egpj.exe"), "\\xe2\\x80\\xaegpj.exe");
  EXPECT_EQ(PrintableText("\u200E\u2028\u2066\u2069"),
            "\\xe2\\x80\\x8e\\xe2\\x80\\xa8\\xe2\\x81\\xa6\\xe2\\x81\\xa9");
  EXPECT_EQ(PrintableText("\u200D\u2026\u2065\u206A"), "\u200D\u2026\u2065\u206A");
}

// Cases of RFC 3629, section 3: overlong forms, surrogates, beyond U+10FFFF, cut short.
TEST(PrintableText, EscapesEachByteThatIsNotUtf8) {
  EXPECT_EQ(PrintableText("\xff"), "\\xff");
  EXPECT_EQ(PrintableText("\xC0\xAF"), "\\xc0\\xaf");
  EXPECT_EQ(PrintableText("\xE0\x80\xAF"), "\\xe0\\x80\\xaf");
  EXPECT_EQ(PrintableText("\xED\xA0\x80"), "\\xed\\xa0\\x80");
  EXPECT_EQ(PrintableText("\xF4\x90\x80\x80"), "\\xf4\\x90\\x80\\x80");
  EXPECT_EQ(PrintableText("\xE2\x82"), "\\xe2\\x82");
  EXPECT_EQ(PrintableText("\xE2\x82z"), "\\xe2\\x82z");
}

}  // namespace
}  // namespace endgrade

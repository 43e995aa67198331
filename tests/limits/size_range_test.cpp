#include "limits/size_range.h"

#include <gtest/gtest.h>

#include <limits>

namespace endgrade {
namespace {

struct Notation {
  const char* text;
  const char* words;
  double inside[2];
  double outside[2];
};

// Nothing is smaller than this.
constexpr double kNothing = -1.0;

class SizeNotation : public testing::TestWithParam<Notation> {};

TEST_P(SizeNotation, MeansWhatItSays) {
  const auto range = ParseSizeRange(GetParam().text);
  ASSERT_TRUE(range.has_value()) << GetParam().text;
  EXPECT_EQ(SizeWords(*range), GetParam().words);
  for (const double size : GetParam().inside) EXPECT_TRUE(range->Contains(size)) << size;
  for (const double size : GetParam().outside) {
    if (size == kNothing) continue;
    EXPECT_FALSE(range->Contains(size)) << size;
  }
}

INSTANTIATE_TEST_SUITE_P(
    All,
    SizeNotation,
    testing::Values(Notation{"any", "of any size", {0, 1e9}, {kNothing, kNothing}},
                    Notation{"< 2", "below 2 um", {0, 1.99}, {2, 2.01}},
                    Notation{"<= 3", "up to 3 um", {0, 3}, {3.01, 1e9}},
                    Notation{"<=3", "up to 3 um", {0, 3}, {3.01, 1e9}},
                    Notation{"\u2264 3", "up to 3 um", {0, 3}, {3.01, 1e9}},
                    Notation{"> 5", "over 5 um", {5.01, 1e9}, {0, 5}},
                    Notation{">= 10", "of 10 um and more", {10, 1e9}, {0, 9.99}},
                    Notation{"\u2265 10", "of 10 um and more", {10, 1e9}, {0, 9.99}},
                    Notation{"2 to 5", "from 2 to 5 um", {2, 5}, {1.99, 5.01}},
                    Notation{"  2   to 5 ", "from 2 to 5 um", {2, 5}, {1.99, 5.01}},
                    Notation{"> 2 to 5", "over 2 to 5 um", {2.01, 5}, {2, 5.01}},
                    Notation{"2 to < 5", "from 2 to below 5 um", {2, 4.99}, {1.99, 5}},
                    Notation{">= 2 to < 5", "from 2 to below 5 um", {2, 4.99}, {1.99, 5}},
                    Notation{"> 2 to < 5", "over 2 to below 5 um", {2.01, 4.99}, {2, 5}},
                    Notation{"5 to 5", "from 5 to 5 um", {5, 5}, {4.99, 5.01}},
                    Notation{"62.5 to 1e2", "from 62.5 to 100 um", {62.5, 100}, {62.4, 100.1}}));

class NoSizeNotation : public testing::TestWithParam<const char*> {};

TEST_P(NoSizeNotation, IsRefused) { EXPECT_FALSE(ParseSizeRange(GetParam()).has_value()); }

INSTANTIATE_TEST_SUITE_P(All,
                         NoSizeNotation,
                         testing::Values("",
                                         " ",
                                         "5",
                                         "5 um",
                                         "> 5 um",
                                         "2-5",
                                         "2..5",
                                         "2 to",
                                         "to 5",
                                         "5 to 2",
                                         "2 to 2 to 3",
                                         "> 2 to 2",
                                         "2 to < 2",
                                         "< 0",
                                         "<= 0",
                                         "<",
                                         "> ",
                                         "> -1",
                                         "-1 to 2",
                                         "< inf",
                                         "< nan",
                                         "> 1e999",
                                         "anything",
                                         "none",
                                         "0x2 to 5",
                                         "2 to 5 x",
                                         "< 2 to 5",
                                         "< 2 < 5",
                                         "2,5 to 3"));

TEST(SizeRange, RangesThatMeetAtAnEndShareItOnlyWhenBothHoldIt) {
  const auto range = [](const char* text) { return *ParseSizeRange(text); };
  EXPECT_FALSE(Overlap(range("< 2"), range("2 to 5")));
  EXPECT_TRUE(Overlap(range("<= 2"), range("2 to 5")));
  EXPECT_FALSE(Overlap(range("2 to 5"), range("> 5")));
  EXPECT_FALSE(Overlap(range("> 5"), range("2 to 5")));
  EXPECT_TRUE(Overlap(range("2 to 5"), range(">= 5")));
  EXPECT_TRUE(Overlap(range("any"), range("5 to 5")));
}

TEST(SizeRange, HoldsNeedsBothEnds) {
  const auto range = [](const char* text) { return *ParseSizeRange(text); };
  EXPECT_TRUE(Holds(range("any"), range("> 5")));
  EXPECT_TRUE(Holds(range("2 to 5"), range("2 to 5")));
  EXPECT_FALSE(Holds(range("> 2 to 5"), range("2 to 5")));
  EXPECT_FALSE(Holds(range("2 to 5"), range("2 to 5.01")));
  EXPECT_FALSE(Holds(range("2 to 5"), range("> 2")));
}

TEST(SizeRange, NothingThatIsNoNumberIsInABoundedRange) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  EXPECT_FALSE(ParseSizeRange("< 2")->Contains(nan));
  EXPECT_FALSE(ParseSizeRange("> 2")->Contains(nan));
}

TEST(RuleWords, SayCountAndRange) {
  Rule rule;
  rule.size = *ParseSizeRange("2 to 5");
  rule.allowed = 5;
  EXPECT_EQ(RuleWords(rule), "at most 5 from 2 to 5 um");  // as the record's example writes it
  rule.allowed = 0;
  EXPECT_EQ(RuleWords(rule), "none from 2 to 5 um");
  rule.allowed.reset();
  EXPECT_EQ(RuleWords(rule), "no limit from 2 to 5 um");
}

}  // namespace
}  // namespace endgrade

#include "lot/name_pattern.h"

#include <gtest/gtest.h>

namespace endgrade::lot {
namespace {

std::string Said(const std::optional<store::Face>& face) {
  if (!face) return "no match";
  return face->kind + "|" + face->cord + "|" + face->end + "|" + std::to_string(face->fibre) + "|" +
         std::to_string(face->attempt) + "|" + face->port + "|" + face->rater;
}

std::string Match(const std::string& pattern, const std::string& path) {
  const auto parsed = NamePattern::Parse(pattern);
  return parsed.ok() ? Said(parsed->Match(path)) : parsed.error().Text();
}

TEST(NamePattern, ReadsItsFields) {
  EXPECT_EQ(Match("{cord}-{end}", "c-0007-A.jpg"), "|c-0007|A|1|1||");
  EXPECT_EQ(Match("{kind}/{cord}_{end}_f{fibre}_{attempt}", "x/sm/c1_B_f12_3.png"),
            "sm|c1|B|12|3||");
  EXPECT_EQ(Match("{rater}/{face}-{trial}", "ada/face-01-2.jpg"), "|face-01||1|2||ada");
  EXPECT_EQ(Match("{port}.*.{cord}", "p7.anything.c1.jpg"), "|c1||1|1|p7|");
}

TEST(NamePattern, LeavesOutWhatIsInBrackets) {
  EXPECT_EQ(Match("{cord}-{end}[-{attempt}]", "c1-A.jpg"), "|c1|A|1|1||");
  EXPECT_EQ(Match("{cord}-{end}[-{attempt}]", "c1-A-2.jpg"), "|c1|A|1|2||");
  EXPECT_EQ(Match("{cord}-{end}[-{attempt}]", "cord-0007-A-2.jpg"), "|cord-0007|A|1|2||");
}

TEST(NamePattern, MatchesWholeNamesOnly) {
  EXPECT_EQ(Match("{cord}-{end}", "c1.jpg"), "no match");
  EXPECT_EQ(Match("{cord}-{end}", "c1-A!.jpg"), "no match");
  EXPECT_EQ(Match("{cord}-{end}-{attempt}", "c1-A-0.jpg"), "no match") << "attempts start at 1";
  EXPECT_EQ(Match("{cord}-{end}", std::string(2000, 'x') + "-A.jpg"), "no match");
}

TEST(NamePattern, TakesOtherCharactersAsTheyAre) {
  EXPECT_EQ(Match("a.b+({cord})", "a.b+(c1).jpg"), "|c1||1|1||");
  EXPECT_EQ(Match("a.b+({cord})", "aXb+(c1).jpg"), "no match");
}

TEST(NamePattern, RefusesWhatMakesNoSense) {
  for (const char* text : {"{cord",
                           "{cord}-{colour}",
                           "{cord}-{cord}",
                           "{cord}-{face}",
                           "[{cord}",
                           "{cord}]",
                           "{end}"}) {
    const auto pattern = NamePattern::Parse(text);
    ASSERT_FALSE(pattern.ok()) << text;
    EXPECT_NE(pattern.error().Text().find(text), std::string::npos) << "names the pattern";
  }
}

TEST(DefaultPatterns, ReadCommonNames) {
  const auto& patterns = DefaultPatterns();
  EXPECT_EQ(Said(MatchAny(patterns, "cord-0001-A.jpg")), "|cord-0001|A|1|1||");
  EXPECT_EQ(Said(MatchAny(patterns, "cord-0001-B-f3-2.jpg")), "|cord-0001|B|3|2||");
  EXPECT_EQ(Said(MatchAny(patterns, "c7_A_2.png")), "|c7|A|1|2||");
  EXPECT_EQ(Said(MatchAny(patterns, "lot/c7/B.png")), "|c7|B|1|1||");
  EXPECT_EQ(Said(MatchAny(patterns, "c7/1.png")), "|c7|1|1|1||");
  EXPECT_EQ(Said(MatchAny(patterns, "c7-near-2.png")), "|c7|near|1|2||");
  EXPECT_EQ(Said(MatchAny(patterns, "IMG20261125.jpg")), "no match");
}

// The second of two ports, taken for another attempt at the first, would pass the first by itself.
TEST(DefaultPatterns, TakeNoTwoPortsForAttemptsAtOneFace) {
  const auto& patterns = DefaultPatterns();
  for (const char* name : {"berth-2-port-05.jpg", "panel-4-12.jpg", "port_7_2.jpg"}) {
    EXPECT_EQ(Said(MatchAny(patterns, name)), "no match") << name;
  }
}

// Many short fields against a long name: time grows with its length, not without bound.
TEST(NamePattern, IsQuickOnAHostileName) {
  EXPECT_EQ(Match("{cord}-{port}-{rater}-{end}-{attempt}", std::string(200, '-') + "!.jpg"),
            "no match");
}

}  // namespace
}  // namespace endgrade::lot

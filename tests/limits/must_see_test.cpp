// What a picture must show before it may pass: derived from the rules, or stated.
#include "tests/limits/temp_limits.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

using Size = std::optional<double>;

struct Expected {
  const char* table;
  const char* zone;
  Size scratch_um;
  Size defect_um;
};

class MustSee : public testing::TestWithParam<Expected> {};

// By hand from the published rows: where a rule says none or counts from nothing on, 2 um; else the
// smallest size at which a rule can be broken; nothing where none can be.
TEST_P(MustSee, FollowsFromThePublishedRows) {
  const Expected& expected = GetParam();
  const auto limits = FindLimits(expected.table);
  ASSERT_TRUE(limits.ok()) << limits.error().Text();
  const Zone* zone = limits->FindZone(expected.zone);
  ASSERT_TRUE(zone);
  EXPECT_EQ(zone->must_see_scratch_um, expected.scratch_um);
  EXPECT_EQ(zone->must_see_defect_um, expected.defect_um);
}

INSTANTIATE_TEST_SUITE_P(Edition2,
                         MustSee,
                         testing::Values(Expected{"sm-upc", "A", 2, 2},
                                         Expected{"sm-upc", "B", 3, 2},
                                         Expected{"sm-upc", "C", {}, {}},
                                         Expected{"sm-upc", "D", {}, 10},
                                         Expected{"sm-apc", "A", 2, 2},
                                         Expected{"sm-apc", "B", {}, 2},
                                         Expected{"sm-apc", "C", {}, {}},
                                         Expected{"sm-apc", "D", {}, 10},
                                         Expected{"mm-pc", "A", 3, 2},
                                         Expected{"mm-pc", "B", 5, 5},
                                         Expected{"mm-pc", "C", {}, {}},
                                         Expected{"mm-pc", "D", {}, 20},
                                         Expected{"sm-pc", "A", 2, 2},
                                         Expected{"sm-pc", "B", 3, 2},
                                         Expected{"sm-pc", "C", {}, {}},
                                         Expected{"sm-pc", "D", {}, 10}));

TEST(MustSeeStated, WinsOverTheDerived) {
  const TempFolder folder;
  const auto file = folder.Write(
      "sound.toml",
      Replaced(kSoundLimits, "name = \"A\"\n", "name = \"A\"\nmust_see_defect_um = 0.7\n"));
  const auto limits = ReadLimits(file);
  ASSERT_TRUE(limits.ok()) << limits.error().Text();
  EXPECT_EQ(limits->zones[0].must_see_defect_um, Size(0.7));
  EXPECT_EQ(limits->zones[0].must_see_scratch_um, Size(2.0));
}

TEST(MustSeeStated, MeansNothingWhereNoRuleCanBeBroken) {
  const TempFolder folder;
  const auto file = folder.Write(
      "sound.toml",
      Replaced(kSoundLimits, "name = \"B\"\n", "name = \"B\"\nmust_see_scratch_um = 0.7\n"));
  const LimitsCheck check = CheckLimits(file);
  ASSERT_TRUE(check.limits);
  EXPECT_EQ(check.limits->zones[1].must_see_scratch_um, Size());
  ASSERT_EQ(check.warnings.size(), 1u);
  EXPECT_NE(check.warnings[0].what.find("no effect"), std::string::npos);
}

TEST(MustSeeStated, WarnsWhenItHidesWhatARuleForbids) {
  const TempFolder folder;
  const auto file = folder.Write(
      "sound.toml",
      Replaced(kSoundLimits, "name = \"A\"\n", "name = \"A\"\nmust_see_defect_um = 4\n"));
  const LimitsCheck check = CheckLimits(file);
  ASSERT_TRUE(check.limits);
  ASSERT_EQ(check.warnings.size(), 1u);
  EXPECT_NE(check.warnings[0].what.find("smaller ones can break a rule"), std::string::npos);
  EXPECT_EQ(check.warnings[0].line, 17);
}

TEST(MustSeeDerived, WarnsWhenARuleBitesBelowIt) {
  const TempFolder folder;
  std::string text = Replaced(
      kSoundLimits, "size = \"<= 3\"\nallowed = 4", "size = \"<= 0.5\"\nallowed = \"no limit\"");
  text = Replaced(text, "size = \"> 3\"", "size = \"> 0.5\"");
  const LimitsCheck check = CheckLimits(folder.Write("sound.toml", text));
  ASSERT_TRUE(check.limits);
  ASSERT_EQ(check.warnings.size(), 1u);
  EXPECT_NE(check.warnings[0].what.find("forbids some from 0.5 um on"), std::string::npos);
  EXPECT_EQ(check.limits->zones[1].must_see_defect_um, Size(2.0));
}

TEST(MustSeeDerived, HoldsForLimitsMadeInMemory) {
  Limits limits;
  limits.zones.push_back({"A", "core", 0, 250, Certainty::kHouse, "test", {}, {}});
  Rule rule;
  rule.zone = "A";
  rule.kind = RuleKind::kAny;
  rule.size.from_um = 6;
  rule.allowed = 0;
  limits.rules.push_back(rule);
  EXPECT_EQ(limits.MustSee(0, FeatureKind::kDefect), Size(6.0));
  EXPECT_EQ(limits.MustSee(0, FeatureKind::kScratch), Size(6.0));
  limits.zones[0].must_see_defect_um = 1.0;
  EXPECT_EQ(limits.MustSee(0, FeatureKind::kDefect), Size(1.0));
}

TEST(RuledDiameter, IsTheOutermostZoneWithARuleThatCanBeBroken) {
  EXPECT_EQ(FindLimits("sm-upc")->RuledDiameter(), 250.0);
  auto limits = *FindLimits("sm-upc");
  std::erase_if(limits.rules, [](const Rule& rule) { return rule.zone == "D"; });
  EXPECT_EQ(limits.RuledDiameter(), 115.0);  // zone C has no rule that can be broken
}

}  // namespace
}  // namespace endgrade

// The boundary cases of edition 2: sizes on and just beyond the ends of the published rows.
//
// Source: IEC 61300-3-35, edition 2 (2015), as public places quote its tables; the cases are
// derived from those and written down here on their own. Sizes are taken as exact (no uncertainty).
#include "tests/judge/good_picture.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace endgrade {
namespace {

constexpr auto kPass = Verdict::kPass;
constexpr auto kFail = Verdict::kFail;

struct Case {
  const char* table;
  const char* zone;
  FeatureKind kind;
  int count;
  double size_um;
  Verdict verdict;
};

class BoundaryCase : public testing::TestWithParam<Case> {};

TEST_P(BoundaryCase, GetsItsVerdict) {
  const Case& c = GetParam();
  Picture picture(c.table);
  picture.Add(c.kind, c.zone, c.size_um, 0, c.count);
  const Grade grade = picture.Judged();
  EXPECT_EQ(grade.verdict, c.verdict);
  EXPECT_FALSE(grade.marginal);
  EXPECT_EQ(grade.fibres[0].verdict, c.verdict);
  const bool fails = c.verdict == kFail;
  EXPECT_EQ(Codes(grade.reasons),
            fails ? std::vector<std::string>{"rule_broken"} : std::vector<std::string>{});
  for (const Feature& feature : grade.fibres[0].features) {
    EXPECT_EQ(feature.breaks.size(), fails ? 1u : 0u);
  }
}

INSTANTIATE_TEST_SUITE_P(Edition2,
                         BoundaryCase,
                         testing::Values(Case{"sm-upc", "A", kScratch, 1, 0.1, kFail},
                                         Case{"sm-upc", "A", kDefect, 1, 0.1, kFail},
                                         Case{"sm-upc", "B", kScratch, 1, 3.0, kPass},
                                         Case{"sm-upc", "B", kScratch, 1, 3.01, kFail},
                                         Case{"sm-upc", "B", kScratch, 50, 3.0, kPass},
                                         Case{"sm-upc", "B", kDefect, 100, 1.99, kPass},
                                         Case{"sm-upc", "B", kDefect, 5, 2.0, kPass},
                                         Case{"sm-upc", "B", kDefect, 6, 2.0, kFail},
                                         Case{"sm-upc", "B", kDefect, 5, 5.0, kPass},
                                         Case{"sm-upc", "B", kDefect, 6, 5.0, kFail},
                                         Case{"sm-upc", "B", kDefect, 1, 5.01, kFail},
                                         Case{"sm-upc", "C", kDefect, 9, 60, kPass},
                                         Case{"sm-upc", "C", kScratch, 9, 20, kPass},
                                         Case{"sm-upc", "D", kDefect, 1, 10.0, kPass},
                                         Case{"sm-upc", "D", kDefect, 1, 10.01, kFail},
                                         Case{"sm-upc", "D", kScratch, 9, 40, kPass},

                                         Case{"sm-apc", "A", kScratch, 4, 3.0, kPass},
                                         Case{"sm-apc", "A", kScratch, 5, 0.5, kFail},
                                         Case{"sm-apc", "A", kScratch, 1, 3.01, kFail},
                                         Case{"sm-apc", "A", kDefect, 1, 0.1, kFail},
                                         Case{"sm-apc", "B", kScratch, 9, 40, kPass},
                                         Case{"sm-apc", "B", kDefect, 5, 5.0, kPass},
                                         Case{"sm-apc", "B", kDefect, 6, 2.0, kFail},
                                         Case{"sm-apc", "B", kDefect, 1, 5.01, kFail},
                                         Case{"sm-apc", "D", kDefect, 1, 10.01, kFail},

                                         Case{"mm-pc", "A", kScratch, 9, 3.0, kPass},
                                         Case{"mm-pc", "A", kScratch, 1, 3.01, kFail},
                                         Case{"mm-pc", "A", kDefect, 4, 5.0, kPass},
                                         Case{"mm-pc", "A", kDefect, 5, 0.5, kFail},
                                         Case{"mm-pc", "A", kDefect, 1, 5.01, kFail},
                                         Case{"mm-pc", "B", kScratch, 9, 5.0, kPass},
                                         Case{"mm-pc", "B", kScratch, 1, 5.01, kFail},
                                         Case{"mm-pc", "B", kDefect, 99, 4.99, kPass},
                                         Case{"mm-pc", "B", kDefect, 5, 5.0, kPass},
                                         Case{"mm-pc", "B", kDefect, 6, 5.0, kFail},
                                         Case{"mm-pc", "B", kDefect, 5, 10.0, kPass},
                                         Case{"mm-pc", "B", kDefect, 1, 10.01, kFail},
                                         Case{"mm-pc", "D", kDefect, 99, 19.99, kPass},
                                         Case{"mm-pc", "D", kDefect, 5, 30.0, kPass},
                                         Case{"mm-pc", "D", kDefect, 6, 20.0, kFail},
                                         Case{"mm-pc", "D", kDefect, 1, 30.01, kFail},

                                         Case{"sm-pc", "A", kScratch, 2, 3.0, kPass},
                                         Case{"sm-pc", "A", kScratch, 3, 0.5, kFail},
                                         Case{"sm-pc", "A", kDefect, 2, 3.0, kPass},
                                         Case{"sm-pc", "A", kDefect, 1, 3.01, kFail},
                                         Case{"sm-pc", "B", kScratch, 9, 3.0, kPass},
                                         Case{"sm-pc", "B", kScratch, 3, 9.0, kPass},
                                         Case{"sm-pc", "B", kScratch, 4, 3.01, kFail},
                                         Case{"sm-pc", "B", kDefect, 6, 2.0, kFail}));

TEST(Counting, KeepsZonesAndKindsApart) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 3, 0, 5).Add(kScratch, "B", 3, 0, 5).Add(kDefect, "D", 3, 0, 5);
  const Grade grade = picture.Judged();
  EXPECT_EQ(grade.verdict, kPass);
  EXPECT_EQ(OutcomeOf(grade, picture.limits, "b-defects-2-to-5").found, 5);
  EXPECT_EQ(OutcomeOf(grade, picture.limits, "b-scratches-to-3").found, 5);
  EXPECT_EQ(OutcomeOf(grade, picture.limits, "d-defects-to-10").found, 5);
}

// In the range of 2 to 5 um small and large count together.
TEST(Counting, AddsUpTheWholeRange) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 2, 0, 3).Add(kDefect, "B", 5, 0, 3);
  EXPECT_EQ(picture.Judged().verdict, kFail);
}

TEST(Counting, OfAnyKindTakesScratchesAndDefectsTogether) {
  Picture picture("sm-upc");
  Rule rule;
  rule.id = "b-together";
  rule.zone = "B";
  rule.kind = RuleKind::kAny;
  rule.allowed = 3;
  picture.limits.rules.push_back(rule);
  picture.Add(kDefect, "B", 1, 0, 2).Add(kScratch, "B", 1, 0, 1);
  EXPECT_EQ(picture.Judged().verdict, kPass);
  picture.Add(kScratch, "B", 1);
  EXPECT_EQ(picture.Judged().verdict, kFail);
}

TEST(Breaks, NameEveryFeatureThatABrokenCountHolds) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 3, 0, 6).Add(kDefect, "B", 1).Add(kDefect, "B", 7);
  const Grade grade = picture.Judged();
  const auto& features = grade.fibres[0].features;
  for (size_t i = 0; i < 6; ++i) {
    EXPECT_THAT(features[i].breaks, testing::ElementsAre("b-defects-2-to-5"));
  }
  EXPECT_TRUE(features[6].breaks.empty());
  EXPECT_THAT(features[7].breaks, testing::ElementsAre("b-defects-over-5"));
}

TEST(Breaks, LeaveOutWhatIsOnlyNear) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 3, 0.3, 6).Add(kDefect, "B", 1.9, 0.3);
  const Grade grade = picture.Judged();
  EXPECT_TRUE(grade.fibres[0].features[6].breaks.empty());
}

TEST(Breaks, AreSetAnewEachTime) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 1);
  picture.features[0].breaks = {"from-before"};
  EXPECT_TRUE(picture.Judged().fibres[0].features[0].breaks.empty());
}

TEST(Reasons, SayZoneCountSizesLimitAndWhatToDo) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 7.23).Add(kDefect, "B", 5.04).Add(kScratch, "A", 0.8);
  const Grade grade = picture.Judged();
  ASSERT_EQ(grade.reasons.size(), 2u);
  EXPECT_EQ(grade.reasons[0].text, "Zone A, core: 1 scratch (0.8 um), none allowed.");
  EXPECT_EQ(grade.reasons[1].text,
            "Zone B, cladding: 2 defects over 5 um (7.2 and 5.04 um), none allowed. Check that the "
            "fibre carries no light, clean the face and inspect it again; what 5 cleanings do not "
            "remove is damage, and the connector is rejected.");
}

}  // namespace
}  // namespace endgrade

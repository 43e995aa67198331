// Marginal outcomes and guarded decisions.
#include "judge/count_rule.h"
#include "limits/size_range.h"
#include "tests/judge/good_picture.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace endgrade {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

// JCGM 106:2012, 8.3.2: with an upper tolerance limit T_U and a guard band w = r U, r = 1 and U the
// expanded uncertainty (k = 2), the acceptance limit is A_U = T_U - U: accepted when measured <=
// A_U. The clause and the figures of ISO 14253-1's rule are from memory; the arithmetic is by hand.
//
// Zone B of sm-upc: none over 5 um, so T_U = 5; with U = 0.4, A_U = 4.6.
struct GuardCase {
  double measured_um;
  Verdict simple;
  Verdict guarded;
  bool marginal;
};

class GuardedAcceptance : public testing::TestWithParam<GuardCase> {};

TEST_P(GuardedAcceptance, AcceptsUpToTheToleranceLimitLessU) {
  constexpr double kU_um = 0.4;
  const GuardCase& c = GetParam();
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", c.measured_um, kU_um);
  const Grade simple = picture.Judged();
  EXPECT_EQ(simple.verdict, c.simple);
  EXPECT_EQ(simple.marginal, c.marginal);
  picture.options.decision = DecisionRule::kGuarded;
  const Grade guarded = picture.Judged();
  EXPECT_EQ(guarded.verdict, c.guarded);
  EXPECT_EQ(guarded.marginal, c.marginal);
}

INSTANTIATE_TEST_SUITE_P(
    OneLimit,
    GuardedAcceptance,
    testing::Values(GuardCase{4.0, Verdict::kPass, Verdict::kPass, false},
                    GuardCase{4.6, Verdict::kPass, Verdict::kPass, false},  // = A_U
                    GuardCase{4.61, Verdict::kPass, Verdict::kFail, true},  // in the guard band
                    GuardCase{5.0, Verdict::kPass, Verdict::kFail, true},   // = T_U
                    GuardCase{5.01, Verdict::kFail, Verdict::kFail, true},  // may be conforming
                    GuardCase{5.4, Verdict::kFail, Verdict::kFail, true},   // may be just T_U
                    GuardCase{5.41, Verdict::kFail, Verdict::kFail, false}));

TEST(GuardBand, IsTheReasonAndMarksWhatIsTooNear) {
  Picture picture("sm-upc");
  picture.options.decision = DecisionRule::kGuarded;
  picture.Add(kDefect, "B", 4.8, 0.4).Add(kDefect, "B", 3, 0.4);
  const Grade grade = picture.Judged();
  EXPECT_THAT(Codes(grade.reasons), ElementsAre("guard_band"));
  EXPECT_THAT(
      grade.reasons[0].text,
      HasSubstr("Zone B, cladding: 0 defects over 5 um as measured, but as many as 1 within "
                "the uncertainty of their sizes; none allowed."));
  EXPECT_THAT(grade.fibres[0].features[0].breaks, ElementsAre("b-defects-over-5"));
  EXPECT_THAT(grade.fibres[0].features[1].breaks, IsEmpty());
  const RuleOutcome outcome = OutcomeOf(grade, picture.limits, "b-defects-over-5");
  EXPECT_TRUE(outcome.met);  // by the size as measured
  EXPECT_TRUE(outcome.marginal);
}

TEST(GuardBand, FailsWhatCouldNotHavePassedAnyway) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 4.8, 0.4);
  picture.sight[3].in_view_fraction = 0.5;
  EXPECT_EQ(picture.Judged().verdict, Verdict::kUngradable);
  picture.options.decision = DecisionRule::kGuarded;
  const Grade grade = picture.Judged();
  EXPECT_EQ(grade.verdict, Verdict::kFail);
  EXPECT_THAT(Codes(grade.warnings), ElementsAre("zone_cut_off"));
}

TEST(Marginal, StandsBesideASimpleVerdictAndInTheWarnings) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 4.8, 0.4);
  const Grade grade = picture.Judged();
  EXPECT_EQ(grade.verdict, Verdict::kPass);
  EXPECT_THAT(grade.reasons, IsEmpty());
  EXPECT_THAT(Codes(grade.warnings), ElementsAre("marginal"));
}

// Counts: five allowed from 2 to 5 um. Each size moves within its own interval.
TEST(Marginal, IsNoPassWhereThePixelsAreAsLargeAsTheSizesThatDecide) {
  Picture picture("sm-upc");
  for (int i = 0; i < 4; ++i) picture.Add(kDefect, "B", 3, 0.4);
  picture.Add(kDefect, "B", 1.5, 1.0).Add(kDefect, "B", 1.5, 1.0);
  picture.scale.um_per_px = 0.85;
  EXPECT_EQ(picture.Judged().verdict, Verdict::kPass);
  picture.scale.um_per_px = 1.0;
  const Grade coarse = picture.Judged();
  EXPECT_EQ(coarse.verdict, Verdict::kUngradable);
  EXPECT_THAT(Codes(coarse.reasons), ElementsAre("too_coarse"));
  EXPECT_THAT(coarse.reasons[0].text, HasSubstr("higher magnification"));
}

// One of many sizes of three pixels may well be wrong: a pass does not hang on it.
TEST(Marginal, IsNoPassAtTheAllowedCountWhereTheNextSizeIsFewPixels) {
  Picture picture("sm-upc");
  for (int i = 0; i < 5; ++i) picture.Add(kDefect, "B", 3, 0.4);
  picture.Add(kDefect, "B", 1.5, 1.0);
  picture.scale.um_per_px = 0.45;
  EXPECT_EQ(picture.Judged().verdict, Verdict::kPass);
  picture.scale.um_per_px = 0.55;
  EXPECT_THAT(Codes(picture.Judged().reasons), ElementsAre("too_coarse"));
}

// Faint scratches across plainer ones are lost in large pixels: a third of two allowed, say.
TEST(ScratchCount, IsNoPassAtItsLimitInLargePixels) {
  Picture picture("sm-pc");  // two of up to 3 um are allowed in zone A
  picture.Add(kScratch, "A", 1.5, 0.2).Add(kScratch, "A", 1.5, 0.2);
  picture.scale.um_per_px = 0.85;
  EXPECT_EQ(picture.Judged().verdict, Verdict::kPass);
  picture.scale.um_per_px = 0.95;
  const Grade coarse = picture.Judged();
  EXPECT_THAT(Codes(coarse.reasons), ElementsAre("too_coarse"));
  EXPECT_THAT(coarse.reasons[0].text, HasSubstr("crosses them"));
  // Said once where the size of one more is in doubt, too: by a house that allows wider ones.
  for (Rule& rule : picture.limits.rules) {
    if (rule.id == "a-scratches-over-3") rule.allowed.reset();
  }
  picture.Add(kScratch, "A", 3.1, 0.2);
  EXPECT_THAT(Codes(picture.Judged().reasons), ElementsAre("too_coarse"));
}

// The width of a scratch is averaged along it.
TEST(Marginal, MayBeAPassForAScratchUntilPixelsAreAsLargeAsItsWidth) {
  Picture picture("sm-upc");
  picture.Add(kScratch, "B", 2.5, 1.0);
  picture.scale.um_per_px = 1.2;
  const Grade grade = picture.Judged();
  EXPECT_EQ(grade.verdict, Verdict::kPass);
  EXPECT_TRUE(grade.marginal);
  picture.scale.um_per_px = 1.4;  // none allowed over 3 um: 2.1 pixels
  EXPECT_THAT(Codes(picture.Judged().reasons), ElementsAre("too_coarse"));
}

TEST(MarginalCount, SeesAnExtraFeatureThatCouldGrowIntoTheRange) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 3, 0.1, 5).Add(kDefect, "B", 1.8, 0.1);
  EXPECT_FALSE(picture.Judged().marginal);
  picture.Add(kDefect, "B", 1.8, 0.3);
  const Grade grade = picture.Judged();
  EXPECT_EQ(grade.verdict, Verdict::kPass);
  EXPECT_TRUE(OutcomeOf(grade, picture.limits, "b-defects-2-to-5").marginal);
  EXPECT_EQ(OutcomeOf(grade, picture.limits, "b-defects-2-to-5").found, 5);
}

TEST(MarginalCount, SeesAnExtraFeatureThatCouldShrinkOutOfTheRange) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 3, 0.1, 5).Add(kDefect, "B", 2.1, 0.2);
  Grade grade = picture.Judged();
  EXPECT_EQ(grade.verdict, Verdict::kFail);
  EXPECT_TRUE(grade.marginal);
  EXPECT_THAT(Codes(grade.warnings), ElementsAre("marginal"));
  picture.Add(kDefect, "B", 3, 0.1);  // now six are surely in
  grade = picture.Judged();
  EXPECT_EQ(grade.verdict, Verdict::kFail);
  EXPECT_FALSE(grade.marginal);
}

TEST(MarginalCount, IsCalmWhileThereIsRoom) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 2.0, 0.5, 4);  // in or out, at most four
  EXPECT_FALSE(picture.Judged().marginal);
}

TEST(MarginalCount, OnAFailNeedsEveryBrokenRuleToBeMarginal) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "B", 5.1, 0.4);
  EXPECT_TRUE(picture.Judged().marginal);
  picture.Add(kDefect, "D", 50, 0.4);
  EXPECT_FALSE(picture.Judged().marginal);
}

TEST(MarginalCount, NeverMovesARuleWithoutAnEndInReach) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "A", 0.5, 10);  // "none of any size" has no end to move over
  const Grade grade = picture.Judged();
  EXPECT_EQ(grade.verdict, Verdict::kFail);
  EXPECT_FALSE(OutcomeOf(grade, picture.limits, "a-defects").marginal);
}

TEST(CountRule, BracketsTheFoundByLeastAndMost) {
  Picture picture("sm-upc");
  Rule rule;
  rule.zone = "B";
  rule.kind = RuleKind::kDefect;
  rule.size = *ParseSizeRange("2 to 5");
  picture
      .Add(kDefect, "B", 3, 0.5)     // surely in
      .Add(kDefect, "B", 2.2, 0.5)   // in, could be out
      .Add(kDefect, "B", 5.2, 0.5)   // out, could be in
      .Add(kDefect, "B", 1.5, 0.5)   // out, could be just in
      .Add(kDefect, "B", 1.5, 0.49)  // surely out
      .Add(kDefect, "B", 3, 9)       // in, could be out at either end
      .Add(kScratch, "B", 3, 0.5)    // another kind
      .Add(kDefect, "C", 3, 0.5);    // another zone
  const RuleCount count = CountRule(rule, picture.limits, picture.features);
  EXPECT_EQ(count.found, 3);
  EXPECT_EQ(count.least, 1);
  EXPECT_EQ(count.most, 5);
  EXPECT_EQ(count.most_unseen, 5);
  EXPECT_THAT(count.in_range, ElementsAre(0, 1, 5));
  EXPECT_THAT(count.touching, ElementsAre(0, 1, 2, 3, 5));
}

// The slow way: every feature at many sizes of its interval, by itself.
TEST(CountRule, AgreesWithTryingManySizes) {
  std::uint64_t state = 20260101;
  const auto next = [&state] {  // Knuth's MMIX constants; any fixed sequence would do
    state = state * 6364136223846793005ull + 1442695040888963407ull;
    return static_cast<double>(state >> 40) / static_cast<double>(1 << 24);
  };
  constexpr int kSteps = 400;
  for (int trial = 0; trial < 200; ++trial) {
    Picture picture("sm-upc");
    for (int i = 0; i < 8; ++i) {
      picture.Add(kDefect, "B", 0.05 * std::floor(140 * next()), 0.05 * std::floor(30 * next()));
    }
    Rule rule;
    rule.zone = "B";
    rule.kind = RuleKind::kDefect;
    rule.size = *ParseSizeRange(trial % 2 ? "2 to 5" : "> 2 to < 5");
    int least = 0;
    int most = 0;
    for (const Feature& feature : picture.features) {
      bool ever = false;
      bool always = true;
      const double from = std::max(0.0, feature.size_um - feature.size_uncertainty_um);
      const double to = feature.size_um + feature.size_uncertainty_um;
      for (int step = 0; step <= kSteps; ++step) {
        const double share = static_cast<double>(step) / kSteps;
        const bool in = rule.size.Contains(step == kSteps ? to : from + share * (to - from));
        ever = ever || in;
        always = always && in;
      }
      most += ever;
      least += always;
    }
    const RuleCount count = CountRule(rule, picture.limits, picture.features);
    EXPECT_EQ(count.least, least) << trial;
    EXPECT_EQ(count.most, most) << trial;
    EXPECT_LE(count.least, count.found);
    EXPECT_LE(count.found, count.most);
  }
}

}  // namespace
}  // namespace endgrade

// What must hold for any features and any limits, tried on random ones with fixed seeds.
#include "tests/judge/good_picture.h"

#include <gtest/gtest.h>

#include <map>
#include <random>

namespace endgrade {
namespace {

constexpr int kTrials = 1500;
const char* const kTables[] = {"sm-upc", "sm-pc", "sm-apc", "mm-pc"};

// How good a verdict is: adding dirt or asking for more may only lower it.
int Goodness(Verdict verdict) {
  return verdict == Verdict::kPass ? 2 : verdict == Verdict::kUngradable ? 1 : 0;
}

class Random {
 public:
  explicit Random(unsigned seed) : engine_(seed) {}
  // Not std::uniform_*: their sequence differs from library to library.
  double Between(double from, double to) {
    return from + (to - from) * static_cast<double>(engine_()) / static_cast<double>(engine_.max());
  }
  int Below(int n) { return static_cast<int>(engine_() % static_cast<unsigned>(n)); }
  bool Chance(double p) { return Between(0, 1) < p; }

 private:
  std::mt19937 engine_;
};

void AddRandomFeature(Random& random, Picture& picture) {
  const FeatureKind kind = random.Chance(0.4) ? kScratch : kDefect;
  const int zone = random.Below(5);
  const double ends[] = {2, 3, 5, 10, 20, 30};
  // Half of them on or near the ends of ranges, where things go wrong.
  double size_um = random.Chance(0.5) ? random.Between(0.2, 8) : ends[random.Below(6)];
  if (random.Chance(0.2)) size_um += random.Chance(0.5) ? 0.01 : -0.01;
  const char* const names[] = {"A", "B", "C", "D", "outside"};
  picture.Add(kind, names[zone], size_um, random.Chance(0.5) ? random.Between(0, 1) : 0);
  picture.features.back().cut_by_frame = random.Chance(0.05);
}

Picture RandomPicture(Random& random, int most_features) {
  Picture picture(kTables[random.Below(4)]);
  if (random.Chance(0.2)) picture.sight[1].in_view_fraction = random.Between(0.9, 1);
  if (random.Chance(0.2)) picture.sight[1].smallest_visible_um = random.Between(0.5, 6);
  if (random.Chance(0.1)) picture.quality.problems.push_back({"saturated", "Too bright."});
  if (random.Chance(0.1)) picture.SetCore(random.Between(4, 80));
  if (random.Chance(0.3)) picture.options.decision = DecisionRule::kGuarded;
  for (int i = random.Below(most_features + 1); i > 0; --i) AddRandomFeature(random, picture);
  return picture;
}

TEST(Property, AddingAFeatureNeverImprovesTheVerdict) {
  Random random(11);
  std::map<Verdict, int> seen;
  for (int trial = 0; trial < kTrials; ++trial) {
    Picture picture = RandomPicture(random, 6);
    const Verdict before = picture.Judged().verdict;
    AddRandomFeature(random, picture);
    const Verdict after = picture.Judged().verdict;
    ASSERT_LE(Goodness(after), Goodness(before)) << trial;
    ++seen[before];
  }
  for (const Verdict verdict : {Verdict::kPass, Verdict::kFail, Verdict::kUngradable}) {
    EXPECT_GT(seen[verdict], kTrials / 20) << verdict;  // the trials reach every verdict
  }
}

// Stricter: fewer allowed, or a "none over" that begins at a smaller size.
bool Tighten(Random& random, Limits& limits) {
  std::vector<size_t> limited;
  for (size_t i = 0; i < limits.rules.size(); ++i) {
    if (limits.rules[i].CanBreak()) limited.push_back(i);
  }
  Rule& rule =
      limits.rules[limited[static_cast<size_t>(random.Below(static_cast<int>(limited.size())))]];
  if (*rule.allowed > 0) {
    rule.allowed = random.Below(*rule.allowed);
    return true;
  }
  if (!rule.size.from_um) return false;
  // The sizes that it takes stay under the old rule of that size too: both must hold.
  Rule stricter = rule;
  stricter.id += "-stricter";
  stricter.size.from_um = *rule.size.from_um * random.Between(0.3, 1);
  for (Rule& other : limits.rules) {
    if (other.zone == rule.zone && other.kind == rule.kind && !other.CanBreak()) {
      other.allowed = 100'000;  // "no limit" may not share a size with a limit
    }
  }
  limits.rules.push_back(stricter);
  return true;
}

TEST(Property, StricterLimitsNeverTurnAFailIntoAPass) {
  Random random(12);
  int tightened = 0;
  int turned_to_fail = 0;
  for (int trial = 0; trial < kTrials; ++trial) {
    Picture picture = RandomPicture(random, 10);
    const Verdict before = picture.Judged().verdict;
    if (!Tighten(random, picture.limits)) continue;
    ++tightened;
    const Verdict after = picture.Judged().verdict;
    ASSERT_LE(Goodness(after), Goodness(before)) << trial;
    turned_to_fail += before != Verdict::kFail && after == Verdict::kFail;
  }
  EXPECT_GT(tightened, kTrials / 2);
  EXPECT_GT(turned_to_fail, 20);
}

TEST(Property, GuardedIsNeverMoreLenientThanSimpleAndFailsEveryMarginalPass) {
  Random random(13);
  int marginal_passes = 0;
  for (int trial = 0; trial < kTrials; ++trial) {
    Picture picture = RandomPicture(random, 6);
    picture.options.decision = DecisionRule::kSimple;
    const Grade simple = picture.Judged();
    picture.options.decision = DecisionRule::kGuarded;
    const Grade guarded = picture.Judged();
    ASSERT_LE(Goodness(guarded.verdict), Goodness(simple.verdict)) << trial;
    if (simple.verdict != Verdict::kPass) continue;
    ASSERT_EQ(guarded.verdict, simple.marginal ? Verdict::kFail : Verdict::kPass) << trial;
    marginal_passes += simple.marginal;
  }
  EXPECT_GT(marginal_passes, 20);
}

TEST(Property, AFailNamesABrokenRuleAndAFeatureThatBreaksIt) {
  Random random(14);
  for (int trial = 0; trial < kTrials; ++trial) {
    const Picture picture = RandomPicture(random, 10);
    const Grade grade = picture.Judged();
    int unmet = 0;
    for (const RuleOutcome& outcome : grade.fibres[0].rules) unmet += !outcome.met;
    size_t marked = 0;
    for (const Feature& feature : grade.fibres[0].features) marked += feature.breaks.size();
    ASSERT_TRUE(grade.verdict != Verdict::kFail || marked > 0) << trial;
    ASSERT_TRUE(grade.verdict != Verdict::kPass || marked == 0) << trial;
    ASSERT_TRUE(unmet == 0 || grade.verdict != Verdict::kPass) << trial;
    ASSERT_EQ(grade.reasons.empty(), grade.verdict == Verdict::kPass) << trial;
  }
}

TEST(Property, EveryCodeIsListedWithTheEffectItHas) {
  std::map<std::string, ReasonEffect> effects;
  for (const ReasonCode& code : kReasonCodes) effects[code.code] = code.effect;
  Random random(15);
  for (int trial = 0; trial < kTrials; ++trial) {
    const Grade grade = RandomPicture(random, 8).Judged();
    for (const Reason& reason : grade.reasons) {
      ASSERT_TRUE(effects.count(reason.code)) << reason.code;
      ASSERT_EQ(effects[reason.code],
                grade.verdict == Verdict::kFail ? ReasonEffect::kFails : ReasonEffect::kForbids);
      ASSERT_EQ(reason.text.back(), '.') << reason.text;
    }
    for (const Reason& reason : grade.warnings) {
      ASSERT_TRUE(effects.count(reason.code)) << reason.code;
      if (effects[reason.code] == ReasonEffect::kWarns) continue;
      ASSERT_EQ(effects[reason.code], ReasonEffect::kForbids) << reason.code;
      ASSERT_EQ(grade.verdict, Verdict::kFail) << reason.code;
    }
  }
}

TEST(Property, TheOrderOfTheFeaturesDoesNotMatter) {
  Random random(16);
  for (int trial = 0; trial < 300; ++trial) {
    Picture picture = RandomPicture(random, 10);
    const Grade before = picture.Judged();
    std::reverse(picture.features.begin(), picture.features.end());
    const Grade after = picture.Judged();
    ASSERT_EQ(after.verdict, before.verdict) << trial;
    ASSERT_EQ(after.marginal, before.marginal) << trial;
    ASSERT_EQ(after.reasons.size(), before.reasons.size());
    for (size_t i = 0; i < after.reasons.size(); ++i) {
      ASSERT_EQ(after.reasons[i].text, before.reasons[i].text);
    }
  }
}

}  // namespace
}  // namespace endgrade

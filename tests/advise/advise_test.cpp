#include "endgrade/advice.h"
#include "endgrade/present.h"
#include "tests/support/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <iterator>

namespace endgrade {
namespace {

using ::testing::HasSubstr;

const AdviceTable& Shipped() {
  static const AdviceTable table = *ReadAdvice(ENDGRADE_SOURCE_DIR "/zones/advice.toml");
  return table;
}

NextAction After(Verdict verdict, int num_cleanings, Left left = Left::kRemovable) {
  return NextStep(Shipped(), {verdict, num_cleanings, 5, left}).action;
}

// Dry first, then wet followed by dry: common practice, no source. Rejected after five: from memory
// of the trade.
TEST(NextStep, GoesFromDryToWetToStop) {
  EXPECT_EQ(After(Verdict::kFail, 0), NextAction::kCleanDry);
  for (int n = 1; n < 5; ++n) {
    EXPECT_EQ(After(Verdict::kFail, n), NextAction::kCleanWetThenDry);
  }
  EXPECT_EQ(After(Verdict::kFail, 5), NextAction::kStop);
}

TEST(NextStep, StopsAtDamageAndLooksAtTheOtherSideForWhatIsNew) {
  EXPECT_EQ(After(Verdict::kFail, 2, Left::kPermanent), NextAction::kStop);
  EXPECT_EQ(After(Verdict::kFail, 2, Left::kNew), NextAction::kInspectMate);
  EXPECT_EQ(After(Verdict::kFail, 5, Left::kNew), NextAction::kStop);
  EXPECT_EQ(After(Verdict::kPass, 0), NextAction::kInspectMate);
  EXPECT_EQ(After(Verdict::kUngradable, 3), NextAction::kPhotographAgain);
}

TEST(NextStep, EveryLineHasItsSourceAndTheSafetyWords) {
  for (const AdviceLine& line : Shipped().lines) {
    EXPECT_FALSE(line.source.empty()) << line.id;
    if (line.certainty == Certainty::kCommonPractice) {
      EXPECT_THAT(line.source, HasSubstr("common practice, no source")) << line.id;
    }
  }
  const Advice advice = NextStep(Shipped(), {});
  for (const char* words : {"optical power",
                            "unfiltered",
                            "Isopropanol is flammable",
                            "shards injure",
                            "local codes",
                            "insertion-loss"}) {
    EXPECT_THAT(advice.safety, HasSubstr(words));
  }
}

std::string ShippedText() {
  std::ifstream file(ENDGRADE_SOURCE_DIR "/zones/advice.toml");
  return {std::istreambuf_iterator<char>(file), {}};
}

TEST(ReadAdvice, MistakesAreNamedWithTheirLine) {
  const TemporaryFolder folder;
  const auto path = folder.path() / "own.toml";
  const auto problem = [&](const std::string& from, const std::string& to) -> std::string {
    std::string text = ShippedText();
    const auto at = text.find(from);
    EXPECT_NE(at, std::string::npos) << from;
    text.replace(at, from.size(), to);
    EXPECT_FALSE(WriteFileSafely(path, text));
    const auto table = ReadAdvice(path);
    return table.ok() ? "" : table.error().Text();
  };
  EXPECT_EQ(problem("This face passes.", "Good."), "");
  EXPECT_THAT(problem("verdict = \"pass\"", "verdict = \"perfect\""), HasSubstr("ungradable"));
  EXPECT_THAT(problem("cleanings_spent = true", "cleanings_spent = 1"), HasSubstr("own.toml:"));
  EXPECT_THAT(problem("say = \"Clean dry and look again.\"\n", ""), HasSubstr("say"));
  EXPECT_THAT(problem("id = \"dry\"\nverdict = \"fail\"", "id = \"dry\"\nverdict = \"pass\""),
              HasSubstr("\"fail\""));
  EXPECT_THAT(problem("title", "titel"), HasSubstr("titel"));
  EXPECT_FALSE(ReadAdvice(folder.path() / "none.toml").ok());
}

Feature Breaking(FeatureKind kind) {
  Feature feature;
  feature.kind = kind;
  feature.breaks = {"a-rule"};
  return feature;
}

// What is left after `num_survived` cleanings that one feature stayed through.
Left LeftOf(FeatureKind kind, int num_survived, Fate fate, bool by_radius = false) {
  Grade grade;
  grade.verdict = Verdict::kFail;
  grade.fibres.emplace_back();
  grade.fibres.front().features = {Breaking(kind)};
  const Frame frame;
  const Workings workings;
  std::vector<Attempt> attempts;
  for (int i = 0; i <= std::max(1, num_survived); ++i) attempts.push_back({frame, grade, workings});
  Comparison comparison;
  Track track;
  track.steps.resize(attempts.size());
  if (fate != Fate::kNew) track.steps.front().feature = 0;
  track.steps.back() = {0, fate, ""};
  track.fate = fate;
  track.num_survived = num_survived;
  track.likely_permanent = fate == Fate::kStillThere;
  track.by_radius = by_radius;
  comparison.tracks = {track};
  return SituationOf(attempts, *FindLimits("sm-upc"), &comparison).left;
}

// A scratch is permanent by the standard's own words (two public places); a pit is not told from
// dirt by its looks, so it has to stay through a dry and a wet cleaning (common practice).
TEST(SituationOf, TakesAScratchAsPermanentAfterOneCleaningAndADefectAfterTwo) {
  EXPECT_EQ(LeftOf(FeatureKind::kScratch, 1, Fate::kStillThere), Left::kPermanent);
  EXPECT_EQ(LeftOf(FeatureKind::kDefect, 1, Fate::kStillThere), Left::kRemovable);
  EXPECT_EQ(LeftOf(FeatureKind::kDefect, 2, Fate::kStillThere), Left::kPermanent);
  EXPECT_EQ(LeftOf(FeatureKind::kDefect, 2, Fate::kStillThere, true), Left::kRemovable);
  EXPECT_EQ(LeftOf(FeatureKind::kDefect, 0, Fate::kMoved), Left::kRemovable);
  EXPECT_EQ(LeftOf(FeatureKind::kDefect, 0, Fate::kNew), Left::kNew);
}

}  // namespace
}  // namespace endgrade

#include "summary/lot_summary.h"
#include "tests/cli/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

namespace endgrade::summary {
namespace {

using cli::TemporaryFolder;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

// Two features of a face 100 pixels across 125 um: one breaks a rule. The keys are those of
// endgrade.result/1.
constexpr const char* kFailing =
    R"({"reasons":[{"code":"rule_broken","text":"Zone B: 1 too many."}],
"fibres":[{"centre_px":[50,50],"um_per_px":1.25,
"rules":[{"zone":"B","kind":"defect","text":"none over 5 um","found":1,"met":false},
         {"zone":"A","kind":"any","text":"none of any size","found":0,"met":true}],
"features":[
 {"id":1,"kind":"defect","zone":"B","size_um":8,"diameter_enclosing_um":8,"centre_um":[40,0],
  "breaks":["b"],"outline_px":[[80,50],[84,50],[82,54]]},
 {"id":2,"kind":"scratch","zone":"D","size_um":1,"diameter_enclosing_um":20,"centre_um":[0,-90],
  "breaks":[],"outline_px":[]}]}]})";

class Lot {
 public:
  Lot() : store_(*store::Store::OpenToAppend(folder_.path() / "lot.sqlite")) {
    settings_.limits.emplace("", *FindLimits("sm-upc"));
  }

  void Add(const std::string& cord,
           const std::string& end,
           int attempt,
           const std::string& verdict,
           const std::string& name = "") {
    store::Row row;
    row.path = name.empty() ? cord + end + std::to_string(attempt) : name;
    row.face.cord = cord;
    row.face.end = end;
    row.face.attempt = attempt;
    row.sha256 = sha256.empty() ? "of " + row.path : sha256;
    row.taken_at = day + "T10:00:00";
    row.limits_id = "sm-upc";
    row.grade_key = key.empty() ? settings_.GradeKey(*settings_.LimitsOf("")) : key;
    row.verdict = verdict;
    row.record = verdict == "fail" ? kFailing : "{}";
    ASSERT_FALSE(store_.Append(row));
  }

  Cords Gather() { return *GatherCords(store_, settings_); }
  LotSummary Sum() { return Summarise(Gather(), settings_); }
  lot::Settings& settings() { return settings_; }

  std::string sha256, key;
  std::string day = "2026-11-25";

 private:
  TemporaryFolder folder_;
  store::Store store_;
  lot::Settings settings_;
};

State StateOf(const Cords& cords, const std::string& name) {
  for (const Cord& cord : cords.cords) {
    if (cord.name == name) return cord.last;
  }
  ADD_FAILURE() << "no cord " << name;
  return State::kOpen;
}

TEST(GatherCords, LetsTheLastAttemptDecide) {
  Lot lot;
  lot.Add("c1", "A", 1, "fail");
  lot.Add("c1", "A", 2, "pass");
  lot.Add("c1", "B", 1, "pass");
  lot.Add("c2", "A", 2, "fail");
  lot.Add("c2", "A", 1, "pass");
  lot.Add("c2", "B", 1, "pass");
  const Cords cords = lot.Gather();
  EXPECT_EQ(StateOf(cords, "c1"), State::kPass);
  EXPECT_EQ(cords.cords[0].first, State::kFail);
  EXPECT_EQ(StateOf(cords, "c2"), State::kFail) << "in whatever order they were graded";
}

TEST(GatherCords, PassesNothingThatIsNotKnown) {
  Lot lot;
  lot.Add("ungradable", "A", 1, "ungradable");
  lot.Add("ungradable", "B", 1, "pass");
  lot.Add("unreadable", "A", 1, "unreadable");
  lot.Add("unreadable", "B", 1, "pass");
  lot.Add("one-end", "A", 1, "pass");
  lot.Add("worse-later", "A", 1, "pass");
  lot.Add("worse-later", "A", 2, "ungradable");
  lot.Add("worse-later", "B", 1, "pass");
  const Cords cords = lot.Gather();
  for (const char* name : {"ungradable", "unreadable", "one-end", "worse-later"}) {
    EXPECT_EQ(StateOf(cords, name), State::kOpen) << name;
  }
  EXPECT_THAT(cords.cords[0].missing, ElementsAre("B")) << "one-end has no B";
}

TEST(GatherCords, CountsNeitherOfTwoPhotographsOfOneAttempt) {
  Lot lot;
  lot.Add("c1", "A", 1, "pass", "c1-A.jpg");
  lot.Add("c1", "A", 1, "pass", "c1-A.png");
  EXPECT_EQ(StateOf(lot.Gather(), "c1"), State::kOpen);
  lot.Add("c1", "A", 2, "pass");
  EXPECT_EQ(StateOf(lot.Gather(), "c1"), State::kPass) << "a later attempt settles it";
}

TEST(GatherCords, BelievesNoPictureThatStandsForTwoFaces) {
  Lot lot;
  lot.sha256 = "the same";
  lot.Add("c1", "A", 1, "pass");
  lot.Add("c2", "A", 1, "pass");
  const Cords cords = lot.Gather();
  EXPECT_EQ(StateOf(cords, "c1"), State::kOpen);
  EXPECT_EQ(StateOf(cords, "c2"), State::kOpen);
  EXPECT_THAT(cords.cords[0].faces[0].note, HasSubstr("c2 A"));
}

// sm-upc: five cleanings at most (from memory).
TEST(GatherCords, SaysWhenCleaningHasNoEnd) {
  Lot lot;
  lot.Add("c1", "A", 5, "fail");
  EXPECT_EQ(lot.Gather().cords[0].faces[0].note, "");
  lot.Add("c1", "A", 6, "fail");
  EXPECT_THAT(lot.Gather().cords[0].faces[0].note, HasSubstr("after 5 cleanings"));
}

TEST(GatherCords, TakesTheNewestRowOfAPath) {
  Lot lot;
  lot.Add("c1", "A", 1, "pass", "x.jpg");
  lot.Add("c1", "A", 1, "fail", "x.jpg");
  EXPECT_EQ(StateOf(lot.Gather(), "c1"), State::kFail);
}

TEST(GatherCords, LeavesOutWhatOtherLimitsGraded) {
  Lot lot;
  lot.key = "other limits";
  lot.Add("c1", "A", 1, "pass");
  const Cords cords = lot.Gather();
  EXPECT_TRUE(cords.cords.empty());
  ASSERT_EQ(cords.notes.size(), 1u);
  EXPECT_THAT(cords.notes[0], HasSubstr("other limits"));
}

TEST(Summarise, CountsYieldsBeforeAndAfterCleaning) {
  Lot lot;
  lot.Add("c1", "A", 1, "fail");
  lot.Add("c1", "A", 2, "pass");
  lot.Add("c1", "B", 1, "pass");
  lot.Add("c2", "A", 1, "pass");
  lot.Add("c2", "B", 1, "fail");
  const LotSummary summary = lot.Sum();
  std::string said;
  for (const Yield& yield : summary.yields) {
    said += yield.of + " " + std::to_string(yield.first) + " " + std::to_string(yield.last) + " " +
            std::to_string(yield.trials) + "; ";
  }
  EXPECT_EQ(said, "cords 0 1 2; faces 2 3 4; end A 1 2 2; end B 1 1 2; kind sm-upc 2 3 4; ");
}

TEST(Summarise, OrdersCausesAndMapsFeatures) {
  Lot lot;
  lot.Add("c1", "A", 1, "fail");
  lot.Add("c1", "A", 2, "pass");
  lot.Add("c2", "A", 1, "fail");
  const LotSummary summary = lot.Sum();
  ASSERT_EQ(summary.causes.size(), 1u);
  EXPECT_EQ(summary.causes[0].rule, "defects: none over 5 um");
  EXPECT_EQ(summary.causes[0].first, 2);
  EXPECT_EQ(summary.causes[0].last, 1);
  EXPECT_EQ(summary.map.total, 4) << "two features of two first photographs";
  // 40 um to the right in cells of 12.5 um from -125 um: column 13, row 10.
  EXPECT_EQ(summary.map.counts[10][13], 2);
}

TEST(Summarise, LearnsNothingFromContestedPhotographs) {
  Lot lot;
  lot.Add("c1", "A", 1, "fail", "c1-A.jpg");
  lot.Add("c1", "A", 1, "fail", "c1-A.png");
  const LotSummary summary = lot.Sum();
  EXPECT_TRUE(summary.causes.empty());
  EXPECT_EQ(summary.map.total, 0);
  EXPECT_EQ(summary.yields[1].last, 0);
  EXPECT_EQ(summary.yields[1].trials, 1);
}

TEST(Summarise, ChartsFirstPhotographsByDay) {
  Lot lot;
  lot.Add("c1", "A", 1, "pass");
  lot.day = "2026-11-26";
  lot.Add("c1", "A", 2, "fail");
  lot.Add("c2", "A", 1, "fail");
  const auto trend = lot.Sum().trend;
  ASSERT_EQ(trend.points.size(), 2u);
  EXPECT_EQ(trend.points[0].share, 0.0);
  EXPECT_EQ(trend.points[1].trials, 1) << "the second attempt is not a first photograph";
  EXPECT_EQ(trend.points[1].share, 1.0);
}

TEST(AttemptOf, PutsOutlinesIntoMicrometres) {
  store::Row row;
  row.record = kFailing;
  const Attempt attempt = AttemptOf(row);
  ASSERT_EQ(attempt.marks.size(), 2u);
  EXPECT_TRUE(attempt.marks[0].breaks);
  EXPECT_EQ(attempt.marks[0].outline_um[0], std::pair(37.5, 0.0)) << "(80 - 50) * 1.25";
  row.record = "not JSON at all";
  EXPECT_TRUE(AttemptOf(row).marks.empty());
}

std::vector<Cord> Cords40(int failing, int open) {
  std::vector<Cord> cords(40);
  for (int i = 0; i < 40; ++i) {
    Cord& cord = cords[static_cast<std::size_t>(i)];
    cord.name = "c" + std::to_string(100 + i);
    cord.last = i < failing ? State::kFail : i < failing + open ? State::kOpen : State::kPass;
  }
  return cords;
}

lot::Settings WithPlan(int lot_size, double aql) {
  lot::Settings settings;
  settings.sampling = lot::Sampling{"II", aql, statistics::Severity::kNormal, lot_size, "seed"};
  return settings;
}

TEST(Decide, WantsEveryCordToPassWithoutAPlan) {
  EXPECT_EQ(Decide(Cords40(0, 0), {}).outcome, Outcome::kAccept);
  EXPECT_EQ(Decide(Cords40(1, 0), {}).outcome, Outcome::kReject);
  EXPECT_EQ(Decide(Cords40(0, 1), {}).outcome, Outcome::kOpen);
  EXPECT_EQ(Decide({}, {}).outcome, Outcome::kOpen) << "nothing seen is nothing known";
}

// Lot of 200, letter G, AQL 4.0: n 32, 3/4 (ISO 2859-1, table 2-A, from memory). The sample is all
// of 32 cords here.
TEST(Decide, FollowsThePlan) {
  const lot::Settings settings = WithPlan(200, 4.0);
  const auto of = [&](int failing, int open) {
    auto cords = Cords40(failing, open);
    cords.resize(32);
    return Decide(cords, settings).outcome;
  };
  EXPECT_EQ(of(3, 0), Outcome::kAccept);
  EXPECT_EQ(of(4, 0), Outcome::kReject);
  EXPECT_EQ(of(2, 1), Outcome::kAccept) << "even if it failed";
  EXPECT_EQ(of(3, 1), Outcome::kOpen) << "it could fail";
  auto few = Cords40(0, 0);
  few.resize(31);
  EXPECT_EQ(Decide(few, settings).outcome, Outcome::kOpen);
  auto many_failing = Cords40(4, 0);
  many_failing.resize(10);
  EXPECT_EQ(Decide(many_failing, settings).outcome, Outcome::kReject) << "no need to go on";
}

TEST(Decide, DrawsTheSameSampleEveryTime) {
  const auto one = Decide(Cords40(0, 0), WithPlan(200, 4.0));
  auto shuffled = Cords40(0, 0);
  std::reverse(shuffled.begin(), shuffled.end());
  EXPECT_EQ(one.sample.size(), 32u);
  EXPECT_EQ(Decide(shuffled, WithPlan(200, 4.0)).sample, one.sample);
  lot::Settings other = WithPlan(200, 4.0);
  other.sampling->draw = "another";
  EXPECT_NE(Decide(shuffled, other).sample, one.sample);
}

}  // namespace
}  // namespace endgrade::summary

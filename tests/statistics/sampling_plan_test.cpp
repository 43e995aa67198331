#include "statistics/sampling_plan.h"

#include <gtest/gtest.h>

namespace endgrade::statistics {
namespace {

// ISO 2859-1, table 1, general level II, as two public pages quote it.
TEST(CodeLetter, FollowsTable1AtBothEndsOfEveryRow) {
  const std::pair<int, const char*> rows[] = {
      {2, "A"},     {8, "A"},      {9, "B"},      {15, "B"},     {16, "C"},     {25, "C"},
      {26, "D"},    {50, "D"},     {51, "E"},     {90, "E"},     {91, "F"},     {150, "F"},
      {151, "G"},   {280, "G"},    {281, "H"},    {500, "H"},    {501, "J"},    {1200, "J"},
      {1201, "K"},  {3200, "K"},   {3201, "L"},   {10000, "L"},  {10001, "M"},  {35000, "M"},
      {35001, "N"}, {150000, "N"}, {150001, "P"}, {500000, "P"}, {500001, "Q"}, {9999999, "Q"}};
  for (const auto& [lot, letter] : rows) EXPECT_EQ(*CodeLetter(lot, "II"), letter) << lot;
}

// The same table's other columns, from memory.
TEST(CodeLetter, KnowsTheOtherLevels) {
  EXPECT_EQ(*CodeLetter(1000, "I"), "G");
  EXPECT_EQ(*CodeLetter(1000, "III"), "K");
  EXPECT_EQ(*CodeLetter(1000, "S-1"), "C");
  EXPECT_EQ(*CodeLetter(1000, "S-4"), "F");
}

struct Row {
  const char* letter;
  int lot_size;  // that has this letter at level II
  double aql;
  int sample, accept;
};

// ISO 2859-1, table 2-A, normal: rows without and with arrows, as public pages quote them.
constexpr Row kNormal[] = {
    {"F", 120, 0.65, 20, 0},
    {"F", 120, 2.5, 20, 1},
    {"H", 400, 1.0, 50, 1},
    {"H", 400, 1.5, 50, 2},
    {"H", 400, 2.5, 50, 3},
    {"J", 1000, 0.65, 80, 1},
    {"J", 1000, 1.0, 80, 2},
    {"J", 1000, 1.5, 80, 3},
    {"J", 1000, 2.5, 80, 5},
    {"K", 2000, 0.65, 125, 2},
    {"K", 2000, 1.0, 125, 3},
    {"K", 2000, 1.5, 125, 5},
    {"K", 2000, 2.5, 125, 7},
    {"L", 5000, 1.0, 200, 5},
    // arrows: AQL 1.0 with G uses n 50; 0.65 with A to E and G uses n 20; 2.5 with E uses n 20
    {"G", 200, 1.0, 50, 1},
    {"G", 200, 0.65, 20, 0},
    {"E", 60, 0.65, 20, 0},
    {"D", 30, 0.65, 20, 0},
    {"E", 60, 2.5, 20, 1},
};

TEST(SinglePlan, FollowsTable2ANormal) {
  for (const Row& row : kNormal) {
    const auto plan = SinglePlan(row.lot_size, "II", row.aql, Severity::kNormal);
    ASSERT_TRUE(plan.ok());
    EXPECT_EQ(plan->code_letter, row.letter);
    EXPECT_EQ(plan->sample_size, row.sample) << row.letter << " at " << row.aql;
    EXPECT_EQ(plan->accept_up_to, row.accept) << row.letter << " at " << row.aql;
    EXPECT_EQ(plan->reject_from, row.accept + 1);
    EXPECT_FALSE(plan->whole_lot);
  }
}

// ISO 2859-1, table 2-B, tightened, from memory.
TEST(SinglePlan, FollowsTable2BTightened) {
  const Row rows[] = {{"K", 2000, 0.65, 125, 1},
                      {"K", 2000, 1.0, 125, 2},
                      {"K", 2000, 1.5, 125, 3},
                      {"K", 2000, 2.5, 125, 5},
                      {"K", 2000, 4.0, 125, 8},
                      {"J", 1000, 1.0, 80, 1},
                      {"G", 200, 0.65, 32, 0}};
  for (const Row& row : rows) {
    const auto plan = SinglePlan(row.lot_size, "II", row.aql, Severity::kTightened);
    ASSERT_TRUE(plan.ok());
    EXPECT_EQ(plan->sample_size, row.sample) << row.letter << " at " << row.aql;
    EXPECT_EQ(plan->accept_up_to, row.accept) << row.letter << " at " << row.aql;
  }
}

// 8.4: a sample no smaller than the lot is the lot.
TEST(SinglePlan, InspectsTheWholeLotWhereTheSampleIsNoSmaller) {
  const auto plan = SinglePlan(12, "II", 0.65, Severity::kNormal);
  ASSERT_TRUE(plan.ok());
  EXPECT_TRUE(plan->whole_lot);
  EXPECT_EQ(plan->sample_size, 12);
}

// A tightened plan never accepts more of the same sample than a normal one.
TEST(SinglePlan, IsNeverMoreLenientWhenTightened) {
  for (const int lot : {100, 400, 1000, 2000, 9000, 30000}) {
    for (const double aql : PreferredAqls()) {
      const auto normal = SinglePlan(lot, "II", aql, Severity::kNormal);
      const auto tight = SinglePlan(lot, "II", aql, Severity::kTightened);
      if (!normal.ok() || !tight.ok()) continue;
      EXPECT_LE(static_cast<double>(tight->accept_up_to) / tight->sample_size,
                static_cast<double>(normal->accept_up_to) / normal->sample_size)
          << lot << " at " << aql;
    }
  }
}

TEST(SinglePlan, RefusesWhatTheTablesDoNotHave) {
  EXPECT_FALSE(SinglePlan(1000, "IV", 1.0, Severity::kNormal).ok());
  EXPECT_FALSE(SinglePlan(1, "II", 1.0, Severity::kNormal).ok());
  const auto odd = SinglePlan(1000, "II", 1.2, Severity::kNormal);
  ASSERT_FALSE(odd.ok());
  EXPECT_NE(odd.error().Text().find("0.65, 1, 1.5"), std::string::npos) << odd.error().Text();
}

}  // namespace
}  // namespace endgrade::statistics

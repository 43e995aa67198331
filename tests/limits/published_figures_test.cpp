// Every figure of zones/iec-61300-3-35-ed2-2015 against the published ones.
//
// Source: IEC 61300-3-35, edition 2 (2015), as the project's table of published figures has it: the
// standard itself was not open, so this holds the files to what public places quote (certainty 2
// and 1) or what the trade remembers (m), and to nothing more. Written down here on its own, size
// by size, without looking at the files.
#include "endgrade/limits.h"
#include "limits/files.h"

#include <gtest/gtest.h>

#include <map>
#include <set>

namespace endgrade {
namespace {

constexpr int kNoLimit = -1;
constexpr auto kScratch = FeatureKind::kScratch;
constexpr auto kDefect = FeatureKind::kDefect;
constexpr auto kTwo = Certainty::kTwoSources;
constexpr auto kOne = Certainty::kOneSource;
constexpr auto kMemory = Certainty::kFromMemory;

// How many features of a size are allowed. A row of the published table is probed just beside and
// on each of its ends; `group` says which sizes are counted together.
struct Probe {
  double size_um;
  int allowed;
  int group;
};

struct Row {
  const char* table;
  const char* zone;
  FeatureKind kind;
  Certainty certainty;
  std::vector<Probe> probes;
};

const std::vector<Probe> kNone = {{0.01, 0, 1}, {0.5, 0, 1}, {2, 0, 1}, {500, 0, 1}};
const std::vector<Probe> kFree = {{0.01, kNoLimit, 1}, {3, kNoLimit, 1}, {500, kNoLimit, 1}};
// no limit < 2; 5 from 2 to 5; none > 5
const std::vector<Probe> kFiveFrom2To5 = {{0.01, kNoLimit, 1},
                                          {1.99, kNoLimit, 1},
                                          {2, 5, 2},
                                          {3.5, 5, 2},
                                          {5, 5, 2},
                                          {5.01, 0, 3},
                                          {500, 0, 3}};
// none > 10
const std::vector<Probe> kNoneOver10 = {
    {0.01, kNoLimit, 1}, {9.99, kNoLimit, 1}, {10, kNoLimit, 1}, {10.01, 0, 2}, {500, 0, 2}};
// no limit <= 3; none > 3
const std::vector<Probe> kNoneOver3 = {
    {0.01, kNoLimit, 1}, {3, kNoLimit, 1}, {3.01, 0, 2}, {500, 0, 2}};
// n of <= 3; none > 3
std::vector<Probe> UpTo3(int n) { return {{0.01, n, 1}, {3, n, 1}, {3.01, 0, 2}, {500, 0, 2}}; }

const std::vector<Row> kRows = {
    // single-mode PC, return loss >= 45 dB
    {"sm-upc", "A", kScratch, kTwo, kNone},
    {"sm-upc", "A", kDefect, kTwo, kNone},
    {"sm-upc", "B", kScratch, kOne, kNoneOver3},
    {"sm-upc", "B", kDefect, kOne, kFiveFrom2To5},
    {"sm-upc", "C", kScratch, kOne, kFree},
    {"sm-upc", "C", kDefect, kOne, kFree},
    {"sm-upc", "D", kScratch, kTwo, kFree},
    {"sm-upc", "D", kDefect, kTwo, kNoneOver10},
    // single-mode angled
    {"sm-apc", "A", kScratch, kOne, UpTo3(4)},
    {"sm-apc", "A", kDefect, kOne, kNone},
    {"sm-apc", "B", kScratch, kOne, kFree},
    {"sm-apc", "B", kDefect, kOne, kFiveFrom2To5},
    {"sm-apc", "C", kScratch, kOne, kFree},
    {"sm-apc", "C", kDefect, kOne, kFree},
    {"sm-apc", "D", kScratch, kOne, kFree},
    {"sm-apc", "D", kDefect, kOne, kNoneOver10},
    // multimode PC
    {"mm-pc", "A", kScratch, kOne, kNoneOver3},
    {"mm-pc", "A", kDefect, kOne, {{0.01, 4, 1}, {5, 4, 1}, {5.01, 0, 2}, {500, 0, 2}}},
    {"mm-pc", "B", kScratch, kOne, {{0.01, kNoLimit, 1}, {5, kNoLimit, 1}, {5.01, 0, 2}}},
    {"mm-pc",
     "B",
     kDefect,
     kOne,
     {{0.01, kNoLimit, 1}, {4.99, kNoLimit, 1}, {5, 5, 2}, {10, 5, 2}, {10.01, 0, 3}, {500, 0, 3}}},
    {"mm-pc", "C", kScratch, kOne, kFree},
    {"mm-pc", "C", kDefect, kOne, kFree},
    {"mm-pc", "D", kScratch, kOne, kFree},
    {"mm-pc",
     "D",
     kDefect,
     kOne,
     {{0.01, kNoLimit, 1},
      {19.99, kNoLimit, 1},
      {20, 5, 2},
      {30, 5, 2},
      {30.01, 0, 3},
      {500, 0, 3}}},
    // single-mode PC, return loss >= 26 dB
    {"sm-pc", "A", kScratch, kMemory, UpTo3(2)},
    {"sm-pc", "A", kDefect, kMemory, UpTo3(2)},
    {"sm-pc",
     "B",
     kScratch,
     kMemory,
     {{0.01, kNoLimit, 1}, {3, kNoLimit, 1}, {3.01, 3, 2}, {500, 3, 2}}},
    {"sm-pc", "B", kDefect, kMemory, kFiveFrom2To5},
    {"sm-pc", "C", kScratch, kMemory, kFree},
    {"sm-pc", "C", kDefect, kMemory, kFree},
    {"sm-pc", "D", kScratch, kMemory, kFree},
    {"sm-pc", "D", kDefect, kMemory, kNoneOver10},
};

class PublishedRow : public testing::TestWithParam<Row> {};

TEST_P(PublishedRow, IsInTheFileWithItsCertainty) {
  const Row& row = GetParam();
  const auto limits = FindLimits(row.table);
  ASSERT_TRUE(limits.ok()) << limits.error().Text();
  std::map<int, std::set<std::string>> rules_of_group;
  for (const Probe& probe : row.probes) {
    std::vector<const Rule*> holding;
    for (const Rule& rule : limits->rules) {
      if (rule.zone == row.zone && rule.LooksAt(row.kind) && rule.size.Contains(probe.size_um)) {
        holding.push_back(&rule);
      }
    }
    ASSERT_EQ(holding.size(), 1u) << "rules about " << probe.size_um << " um";
    const Rule& rule = *holding.front();
    EXPECT_EQ(rule.allowed.value_or(kNoLimit), probe.allowed) << probe.size_um << " um";
    EXPECT_EQ(rule.certainty, row.certainty) << rule.id;
    EXPECT_FALSE(rule.source.empty()) << rule.id;
    rules_of_group[probe.group].insert(rule.id);
  }
  std::set<std::string> all;
  for (const auto& [group, rules] : rules_of_group) {
    EXPECT_EQ(rules.size(), 1u) << "sizes that are counted together";
    all.insert(rules.begin(), rules.end());
  }
  EXPECT_EQ(all.size(), rules_of_group.size()) << "sizes that are counted apart";
}

std::string RowName(const testing::TestParamInfo<Row>& info) {
  std::string name = std::string(info.param.table) + "_" + info.param.zone +
                     (info.param.kind == kScratch ? "_scratches" : "_defects");
  for (char& c : name) {
    if (c == '-') c = '_';
  }
  return name;
}

INSTANTIATE_TEST_SUITE_P(Edition2, PublishedRow, testing::ValuesIn(kRows), RowName);

TEST(PublishedRows, CoverEveryRuleOfEveryFile) {
  std::set<std::string> expected;
  for (const Row& row : kRows) expected.insert(std::string(row.table) + row.zone);
  for (const char* table : {"sm-upc", "sm-pc", "sm-apc", "mm-pc"}) {
    const auto limits = FindLimits(table);
    ASSERT_TRUE(limits.ok()) << limits.error().Text();
    for (const Rule& rule : limits->rules)
      EXPECT_TRUE(expected.count(table + rule.zone)) << rule.id;
  }
}

struct Border {
  const char* name;
  double inner_um, outer_um;
  Certainty certainty;
};

void ExpectBorders(const char* table, const std::vector<Border>& borders) {
  const auto limits = FindLimits(table);
  ASSERT_TRUE(limits.ok()) << limits.error().Text();
  ASSERT_EQ(limits->zones.size(), borders.size());
  for (size_t i = 0; i < borders.size(); ++i) {
    const Zone& zone = limits->zones[i];
    EXPECT_EQ(zone.name, borders[i].name);
    EXPECT_EQ(zone.inner_diameter_um, borders[i].inner_um) << table << zone.name;
    EXPECT_EQ(zone.outer_diameter_um, borders[i].outer_um) << table << zone.name;
    EXPECT_EQ(zone.certainty, borders[i].certainty) << table << zone.name;
    EXPECT_FALSE(zone.source.empty());
  }
}

TEST(PublishedZones, SingleModeBordersAre25_115_135_250) {
  for (const char* table : {"sm-upc", "sm-pc", "sm-apc"}) {
    ExpectBorders(
        table,
        {{"A", 0, 25, kTwo}, {"B", 25, 115, kTwo}, {"C", 115, 135, kOne}, {"D", 135, 250, kOne}});
  }
}

TEST(PublishedZones, MultimodeBordersAre65_115_135_250) {
  ExpectBorders(
      "mm-pc",
      {{"A", 0, 65, kOne}, {"B", 65, 115, kTwo}, {"C", 115, 135, kOne}, {"D", 135, 250, kOne}});
}

// ITU-T G.652, G.657 and IEC 60793-2-50, IEC 60793-2-10 (both 125 +/- 1 um; 50 and 62.5 um cores),
// EN 61754-7 (8 degrees); all from memory.
TEST(PublishedFibres, Are125WithinOneWithTheirCoresAndAngle) {
  for (const char* table : {"sm-upc", "sm-pc", "sm-apc", "mm-pc"}) {
    const auto limits = FindLimits(table);
    ASSERT_TRUE(limits.ok());
    const FibreType& fibre = limits->fibre;
    EXPECT_EQ(fibre.cladding_diameter_um, 125.0);
    EXPECT_EQ(fibre.cladding_tolerance_um, 1.0);
    EXPECT_EQ(fibre.certainty, kMemory);
    const bool multimode = std::string(table) == "mm-pc";
    EXPECT_EQ(fibre.single_mode, !multimode);
    EXPECT_EQ(fibre.core_diameters_um,
              multimode ? std::vector<double>({50, 62.5}) : std::vector<double>({9}));
    EXPECT_EQ(fibre.polish_angle_deg, std::string(table) == "sm-apc" ? 8.0 : 0.0);
    EXPECT_EQ(limits->max_cleanings, 5);  // "five is often used", from memory
    EXPECT_EQ(limits->max_cleanings_certainty, kMemory);
  }
}

TEST(ShippedLimits, ClaimNoEditionButTheSecond) {
  for (const auto& limits : ListLimits()) {
    ASSERT_TRUE(limits.ok()) << limits.error().Text();
    EXPECT_NE(limits->edition.find("edition 2 (2015)"), std::string::npos) << limits->id;
    for (const char* other : {"edition 1", "edition 3", "2009", "2022"}) {
      EXPECT_EQ(limits->edition.find(other), std::string::npos) << limits->id;
    }
  }
}

TEST(ShippedLimits, HaveNeitherMistakesNorWarnings) {
  const auto files = LimitsFilesUnder(std::string(ENDGRADE_SOURCE_DIR) + "/zones");
  ASSERT_GE(files.size(), 5u);
  for (const auto& file : files) {
    const LimitsCheck check = CheckLimits(file);
    EXPECT_TRUE(check.errors.empty()) << check.errors.front().Text();
    EXPECT_TRUE(check.warnings.empty()) << check.warnings.front().Text();
  }
}

}  // namespace
}  // namespace endgrade

// The renderer's own rules at every boundary of IEC 61300-3-35:2015 as published figures give them,
// and against the engine's limits files: two tables written apart must agree.
#include "render/rule_table.h"

#include "endgrade/limits.h"

#include <gtest/gtest.h>

#include <array>

namespace endgrade::render {
namespace {

bool Fails(const std::string& id, int count, bool scratch, double size_um, const char* zone) {
  const std::vector<std::vector<Candidate>> features(static_cast<size_t>(count),
                                                     {{scratch, size_um, zone, true}});
  return ApplyTable(*FindTable(id), features).fails;
}

struct Case {
  const char* id;
  const char* zone;
  bool scratch;
  int count;
  double size_um;
  bool fails;
};

TEST(RuleTable, DecidesTheBoundaryCasesAsPublished) {
  const std::array cases = {
      Case{"sm-upc", "A", true, 1, 0.1, true},     Case{"sm-upc", "A", false, 1, 0.1, true},
      Case{"sm-upc", "B", true, 9, 3.0, false},    Case{"sm-upc", "B", true, 1, 3.01, true},
      Case{"sm-upc", "B", false, 99, 1.99, false}, Case{"sm-upc", "B", false, 5, 2.0, false},
      Case{"sm-upc", "B", false, 6, 2.0, true},    Case{"sm-upc", "B", false, 5, 5.0, false},
      Case{"sm-upc", "B", false, 1, 5.01, true},   Case{"sm-upc", "C", false, 9, 60, false},
      Case{"sm-upc", "D", false, 9, 10.0, false},  Case{"sm-upc", "D", false, 1, 10.01, true},
      Case{"sm-upc", "D", true, 9, 40, false},     Case{"sm-apc", "A", true, 4, 3.0, false},
      Case{"sm-apc", "A", true, 5, 0.5, true},     Case{"sm-apc", "A", true, 1, 3.01, true},
      Case{"sm-apc", "A", false, 1, 0.1, true},    Case{"sm-apc", "B", true, 9, 40, false},
      Case{"sm-pc", "A", true, 2, 3.0, false},     Case{"sm-pc", "A", true, 3, 0.5, true},
      Case{"sm-pc", "A", false, 2, 3.0, false},    Case{"sm-pc", "A", false, 1, 3.01, true},
      Case{"sm-pc", "B", true, 3, 3.01, false},    Case{"sm-pc", "B", true, 4, 3.01, true},
      Case{"mm-pc", "A", false, 4, 5.0, false},    Case{"mm-pc", "A", false, 5, 0.5, true},
      Case{"mm-pc", "A", false, 1, 5.01, true},    Case{"mm-pc", "A", true, 9, 3.0, false},
      Case{"mm-pc", "A", true, 1, 3.01, true},     Case{"mm-pc", "B", true, 1, 5.01, true},
      Case{"mm-pc", "B", false, 99, 4.99, false},  Case{"mm-pc", "B", false, 5, 5.0, false},
      Case{"mm-pc", "B", false, 6, 5.0, true},     Case{"mm-pc", "B", false, 1, 10.01, true},
      Case{"mm-pc", "D", false, 99, 19.99, false}, Case{"mm-pc", "D", false, 5, 30.0, false},
      Case{"mm-pc", "D", false, 6, 20.0, true},    Case{"mm-pc", "D", false, 1, 30.01, true},
  };
  for (const Case& c : cases) {
    EXPECT_EQ(Fails(c.id, c.count, c.scratch, c.size_um, c.zone), c.fails)
        << c.id << " zone " << c.zone << ": " << c.count << " of " << c.size_um << " um";
  }
}

TEST(RuleTable, ZonesAreTheirPublishedDiameters) {
  const RuleTable& single = *FindTable("sm-upc");
  EXPECT_EQ(single.ZoneAt(12.49), "A");
  EXPECT_EQ(single.ZoneAt(12.5), "B");
  EXPECT_EQ(single.ZoneAt(57.49), "B");
  EXPECT_EQ(single.ZoneAt(57.5), "C");
  EXPECT_EQ(single.ZoneAt(67.5), "D");
  EXPECT_EQ(single.ZoneAt(125), "");
  EXPECT_EQ(FindTable("mm-pc")->ZoneAt(32.49), "A");
  EXPECT_EQ(FindTable("mm-pc")->ZoneAt(32.5), "B");
}

bool FailsByLimits(
    const Limits& limits, int count, FeatureKind kind, double size_um, const std::string& zone) {
  for (const Rule& rule : limits.rules) {
    const bool counts = rule.zone == zone && rule.LooksAt(kind) && rule.size.Contains(size_um);
    if (counts && rule.allowed && count > *rule.allowed) return true;
  }
  return false;
}

TEST(RuleTable, AgreesWithTheLimitsFilesEverywhere) {
  for (const std::string& id : TableIds()) {
    const auto limits = FindLimits(id);
    ASSERT_TRUE(limits.ok()) << limits.error().Text();
    for (const Zone& zone : limits->zones) {
      EXPECT_EQ(FindTable(id)->ZoneAt(zone.inner_diameter_um / 2), zone.name) << id;
      EXPECT_EQ(FindTable(id)->ZoneAt(zone.outer_diameter_um / 2 - 1e-9), zone.name) << id;
      for (const bool scratch : {true, false}) {
        for (int count = 1; count <= 8; ++count) {
          for (int size = 1; size < 4000; size += 25) {  // hundredths of a micrometre
            for (const double um : {size * 0.01, size * 0.01 + 0.24}) {
              const auto kind = scratch ? FeatureKind::kScratch : FeatureKind::kDefect;
              ASSERT_EQ(Fails(id, count, scratch, um, zone.name.c_str()),
                        FailsByLimits(*limits, count, kind, um, zone.name))
                  << id << " zone " << zone.name << ": " << count << " of " << um << " um";
            }
          }
        }
      }
    }
  }
}

TEST(RuleTable, UncertainSizesLeaveTheVerdictOpen) {
  const RuleTable& table = *FindTable("sm-upc");
  const Candidate small{false, 4.8, "B", true};
  const Candidate large{false, 5.3, "B", true};
  const auto open = ApplyTable(table, {{small, large}});
  EXPECT_FALSE(open.fails);
  EXPECT_TRUE(open.could_pass);
  EXPECT_TRUE(open.could_fail);
  const auto sure = ApplyTable(table, {{large}});
  EXPECT_TRUE(sure.fails);
  EXPECT_FALSE(sure.could_pass);
}

// Breaks one rule or another whatever is measured: none of zone A, or over 5 um in zone B.
TEST(RuleTable, FailureByOneOfTwoRulesIsSure) {
  const auto verdict =
      ApplyTable(*FindTable("sm-upc"), {{{false, 7, "A", true}, {false, 7, "B", true}}});
  EXPECT_FALSE(verdict.could_pass);
}

}  // namespace
}  // namespace endgrade::render

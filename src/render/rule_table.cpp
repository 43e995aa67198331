#include "render/rule_table.h"

#include <algorithm>
#include <limits>

namespace endgrade::render {
namespace {

constexpr double kAny = std::numeric_limits<double>::infinity();

// Zones of edition 2 for a single fibre of 125 um, as radii.
std::vector<TableZone> Zones(double core_radius_um, double see_a, double see_b, double see_d) {
  return {{"A", core_radius_um, see_a},
          {"B", 57.5, see_b},
          {"C", 67.5, std::nullopt},
          {"D", 125.0, see_d}};
}

const std::vector<RuleTable>& Tables() {
  static const std::vector<RuleTable> tables = {
      {"sm-upc",
       true,
       false,
       Zones(12.5, 2, 2, 10),
       {{"A scratch any", "A", true, 0, false, kAny, 0},
        {"A defect any", "A", false, 0, false, kAny, 0},
        {"B scratch > 3", "B", true, 3, true, kAny, 0},
        {"B defect 2 to 5", "B", false, 2, false, 5, 5},
        {"B defect > 5", "B", false, 5, true, kAny, 0},
        {"D defect > 10", "D", false, 10, true, kAny, 0}}},
      {"sm-pc",
       true,
       false,
       Zones(12.5, 2, 2, 10),
       {{"A scratch <= 3", "A", true, 0, false, 3, 2},
        {"A scratch > 3", "A", true, 3, true, kAny, 0},
        {"A defect <= 3", "A", false, 0, false, 3, 2},
        {"A defect > 3", "A", false, 3, true, kAny, 0},
        {"B scratch > 3", "B", true, 3, true, kAny, 3},
        {"B defect 2 to 5", "B", false, 2, false, 5, 5},
        {"B defect > 5", "B", false, 5, true, kAny, 0},
        {"D defect > 10", "D", false, 10, true, kAny, 0}}},
      {"sm-apc",
       true,
       true,
       Zones(12.5, 2, 2, 10),
       {{"A scratch <= 3", "A", true, 0, false, 3, 4},
        {"A scratch > 3", "A", true, 3, true, kAny, 0},
        {"A defect any", "A", false, 0, false, kAny, 0},
        {"B defect 2 to 5", "B", false, 2, false, 5, 5},
        {"B defect > 5", "B", false, 5, true, kAny, 0},
        {"D defect > 10", "D", false, 10, true, kAny, 0}}},
      {"mm-pc",
       false,
       false,
       Zones(32.5, 2, 5, 20),
       {{"A scratch > 3", "A", true, 3, true, kAny, 0},
        {"A defect <= 5", "A", false, 0, false, 5, 4},
        {"A defect > 5", "A", false, 5, true, kAny, 0},
        {"B scratch > 5", "B", true, 5, true, kAny, 0},
        {"B defect 5 to 10", "B", false, 5, false, 10, 5},
        {"B defect > 10", "B", false, 10, true, kAny, 0},
        {"D defect 20 to 30", "D", false, 20, false, 30, 5},
        {"D defect > 30", "D", false, 30, true, kAny, 0}}}};
  return tables;
}

bool Counts(const TableRule& rule, const Candidate& feature) {
  return feature.present && feature.scratch == rule.scratch && feature.zone == rule.zone &&
         (rule.low_open ? feature.size_um > rule.low_um : feature.size_um >= rule.low_um) &&
         feature.size_um <= rule.high_um;
}

// A candidate that breaks some rule all by itself.
bool BreaksAlone(const RuleTable& table, const Candidate& feature) {
  return std::any_of(table.rules.begin(), table.rules.end(), [&](const TableRule& rule) {
    return rule.allowed == 0 && Counts(rule, feature);
  });
}

}  // namespace

const RuleTable* FindTable(const std::string& id) {
  for (const RuleTable& table : Tables()) {
    if (table.id == id) return &table;
  }
  return nullptr;
}

std::vector<std::string> TableIds() {
  std::vector<std::string> ids;
  for (const RuleTable& table : Tables()) ids.push_back(table.id);
  return ids;
}

std::string RuleTable::ZoneAt(double radius_um) const {
  for (const TableZone& zone : zones) {
    if (radius_um < zone.outer_radius_um) return zone.name;
  }
  return "";
}

double RuleTable::RuledRadius() const {
  double radius = 0;
  for (const TableZone& zone : zones) {
    if (zone.must_see_um) radius = std::max(radius, zone.outer_radius_um);
  }
  return radius;
}

TableVerdict ApplyTable(const RuleTable& table,
                        const std::vector<std::vector<Candidate>>& features) {
  TableVerdict verdict;
  bool must_fail = false;
  for (const TableRule& rule : table.rules) {
    int truly = 0;
    int surely = 0;
    int perhaps = 0;
    for (const auto& candidates : features) {
      const auto counts = [&](const Candidate& c) { return Counts(rule, c); };
      truly += counts(candidates.front()) ? 1 : 0;
      surely += std::all_of(candidates.begin(), candidates.end(), counts) ? 1 : 0;
      perhaps += std::any_of(candidates.begin(), candidates.end(), counts) ? 1 : 0;
    }
    if (truly > rule.allowed) verdict.broken.push_back(rule.id);
    must_fail = must_fail || surely > rule.allowed;
    verdict.could_fail = verdict.could_fail || perhaps > rule.allowed;
  }
  for (const auto& candidates : features) {
    must_fail = must_fail || std::all_of(candidates.begin(), candidates.end(), [&](const auto& c) {
                  return BreaksAlone(table, c);
                });
  }
  verdict.fails = !verdict.broken.empty();
  verdict.could_pass = !must_fail;
  return verdict;
}

}  // namespace endgrade::render

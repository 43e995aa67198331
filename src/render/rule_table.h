// The renderer's own small table of the rules, for the truth's verdict. It is not the engine's: the
// two are checked against each other and against published figures (IEC 61300-3-35:2015).
#pragma once

#include "endgrade/render.h"

#include <optional>
#include <string>
#include <vector>

namespace endgrade::render {

struct TableZone {
  std::string name;
  double outer_radius_um;
  // The smallest that must be seen for a pass; empty where nothing can break a rule.
  std::optional<double> must_see_um;
};

// At most `allowed` features whose size is in [low, high]; an open end leaves its value out.
struct TableRule {
  std::string id;
  std::string zone;
  bool scratch;
  double low_um;
  bool low_open;
  double high_um;
  int allowed;
};

struct RuleTable {
  std::string id;
  bool single_mode;
  bool angled;
  std::vector<TableZone> zones;  // inside out
  std::vector<TableRule> rules;  // only those that can be broken

  [[nodiscard]] std::string ZoneAt(double radius_um) const;  // empty outside all
  [[nodiscard]] double RuledRadius() const;
};

// Null for an id that is not one of TableIds().
[[nodiscard]] const RuleTable* FindTable(const std::string& id);
[[nodiscard]] std::vector<std::string> TableIds();

// What one feature may be taken for: its true self first, then what measurement could make of it.
struct Candidate {
  bool scratch = false;
  double size_um = 0;
  std::string zone;
  bool present = true;
};

struct TableVerdict {
  bool fails = false;
  std::vector<std::string> broken;
  bool could_pass = false;  // for some choice of candidates
  bool could_fail = false;
};

// `features`: one list of candidates each, the true one first.
[[nodiscard]] TableVerdict ApplyTable(const RuleTable& table,
                                      const std::vector<std::vector<Candidate>>& features);

}  // namespace endgrade::render

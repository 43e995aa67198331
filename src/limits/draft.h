// A limits file on its way to Limits: what it says on top of what it builds on, and where.
#pragma once

#include "endgrade/limits.h"
#include "limits/check_rules.h"
#include "limits/table_reader.h"

#include <string>
#include <vector>

namespace endgrade {

struct FilePlace {
  std::string file;
  int line = 0;
};

struct LimitsDraft {
  Limits limits;  // must-see sizes as stated; empty where they are to be derived
  FilePlace top;
  FilePlace fibre;
  std::vector<FilePlace> zones;  // by limits.zones
  std::vector<FilePlace> rules;  // by limits.rules

  [[nodiscard]] FilePlace Find(LimitsPlace place) const;
};

// Puts what a file says on top of `draft`: its parent's, or an empty one. Zones of a name and rules
// of an id that the parent has replace it key by key, the others are added; certainty and source
// are the file's own, so that a changed figure never carries its parent's. `warnings` gets what is
// looser than the parent.
void ApplyFile(const toml::table& file, LimitsDraft& draft, Mistakes& mistakes, Mistakes& warnings);

}  // namespace endgrade

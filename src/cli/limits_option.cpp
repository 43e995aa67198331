#include "cli/limits_option.h"

#include "endgrade/limits.h"

namespace endgrade::cli {

void AddLimitsOption(CLI::App& verb, std::string* limits) {
  verb.add_option("--limits", *limits, "Limits: an ID of 'limits list', or a file")
      ->type_name("ID|FILE");
}

void RequireLimits(const std::string& limits) {
  if (!limits.empty()) return;
  std::string text = "say which limits to grade against; there is no default. The IDs are:\n";
  for (const auto& listed : ListLimits()) {
    if (listed.ok()) text += "  " + listed->id + "  " + listed->title + "\n";
  }
  throw CLI::ValidationError("--limits", text + "or give the path of a limits file.");
}

}  // namespace endgrade::cli

#include "lot/settings.h"

#include "core/sha256.h"
#include "endgrade/version.h"

#include <cstdio>

namespace endgrade::lot {
namespace fs = std::filesystem;

const Limits* Settings::LimitsOf(const std::string& kind) const {
  auto entry = limits.find(kind);
  if (entry == limits.end()) entry = limits.find("");
  return entry == limits.end() ? nullptr : &entry->second;
}

std::string Settings::GradeKey(const Limits& of) const {
  char scale[40] = "-";
  if (options.scale.um_per_px)
    std::snprintf(scale, sizeof scale, "%.17g", *options.scale.um_per_px);
  const bool guarded = options.judge.decision == DecisionRule::kGuarded;
  return Sha256Hex(of.id + "\n" + of.sha256 + "\n" +
                   (options.camera ? options.camera->sha256 : "-") + "\n" + scale + "\n" +
                   (guarded ? "guarded" : "simple") + "\n" + Version() + "\n" + Build());
}

Result<Settings> DefaultSettings(const fs::path& folder, const std::string& limits) {
  Settings settings;
  std::error_code ignored;
  const fs::path whole = fs::weakly_canonical(fs::absolute(folder, ignored), ignored);
  settings.name = (whole.has_filename() ? whole : whole.parent_path()).filename().string();
  settings.photographs = folder;
  if (!limits.empty()) {
    auto found = FindLimits(limits);
    if (!found.ok()) return found.error();
    settings.limits.emplace("", std::move(*found));
  }
  for (auto& listed : ListLimits()) {
    if (listed.ok() && fs::is_directory(folder / listed->id, ignored)) {
      const std::string id = listed->id;
      settings.limits.emplace(id, std::move(*listed));
    }
  }
  return settings;
}

}  // namespace endgrade::lot

#include "limits/sources.h"

#include "limits/files.h"
#include "limits/toml.h"

namespace endgrade {
namespace fs = std::filesystem;
namespace {

constexpr std::size_t kMostFiles = 10;  // more than a sound chain has

// The ID or path after "extends"; empty where the file stands alone.
std::string ExtendsOf(const std::string& text, const fs::path& file) {
  const toml::parse_result parsed = toml::parse(text, file.string());
  if (!parsed) return "";
  const toml::node* node = parsed.table().get("extends");
  return node ? node->value_exact<std::string>().value_or("") : "";
}

}  // namespace

Result<std::vector<LimitsSource>> LimitsSourcesOf(const fs::path& path) {
  std::vector<LimitsSource> sources;
  fs::path file = path;
  fs::path name = path.filename();
  while (sources.size() < kMostFiles) {
    auto text = ReadBytes(file);
    if (!text.ok()) return text.error();
    sources.push_back({name.generic_string(), std::move(*text)});
    const std::string extends = ExtendsOf(sources.back().text, file);
    const auto parent = extends.empty() ? std::nullopt : FindParent(extends, file);
    if (!parent) break;
    // What is found by its ID alone is found beside the file too.
    name = (name.parent_path() / (LooksLikePath(extends) ? extends : extends + ".toml"))
               .lexically_normal();
    if (name.is_absolute() || *name.begin() == "..") {
      return Error{ErrorKind::kBadLimits,
                   file.string(),
                   0,
                   "builds on \"" + extends + "\", which is outside its folder",
                   "Copy that file beside this one, and write its ID without a path"};
    }
    file = *parent;
  }
  return sources;
}

}  // namespace endgrade

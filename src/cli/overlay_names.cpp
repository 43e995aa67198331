#include "cli/overlay_names.h"

#include <algorithm>
#include <cctype>
#include <map>

namespace endgrade::cli {
namespace fs = std::filesystem;
namespace {

// Room for the ending, a number and the mark of a temporary name within the 255 bytes that a name
// may have.
constexpr std::size_t kLongestName = 200;

std::string CleanName(std::string name) {
  for (char& c : name) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 || byte == 0x7F) c = '_';
  }
  std::size_t length = std::min(name.size(), kLongestName);
  // Not in the middle of a UTF-8 character.
  while (length > 0 && length < name.size() &&
         (static_cast<unsigned char>(name[length]) & 0xC0) == 0x80) {
    --length;
  }
  name.resize(length);
  return name.empty() ? "picture" : name;
}

std::string CaseFolded(std::string name) {
  std::transform(name.begin(), name.end(), name.begin(), [](unsigned char c) {
    return static_cast<char>(std::tolower(c));
  });
  return name;
}

std::string NameAtLevel(const fs::path& picture, std::size_t index, int level) {
  if (level == 0) return CleanName(picture.stem().string());
  const std::string folder = picture.parent_path().filename().string();
  const std::string whole = CleanName(folder.empty() ? picture.filename().string()
                                                     : folder + "-" + picture.filename().string());
  return level == 1 ? whole : whole + "-" + std::to_string(index + 1);
}

}  // namespace

std::vector<std::string> OverlayNames(const std::vector<fs::path>& pictures,
                                      const std::string& extension) {
  std::vector<int> levels(pictures.size(), 0);
  std::vector<std::string> names(pictures.size());
  for (bool settled = false; !settled;) {
    settled = true;
    std::map<std::string, std::vector<std::size_t>> by_name;
    for (std::size_t i = 0; i < pictures.size(); ++i) {
      names[i] = NameAtLevel(pictures[i], i, std::min(levels[i], 2));
      // Beyond the numbered name only another picture's own name can be in the way.
      if (levels[i] > 2) names[i] += "-" + std::to_string(levels[i]);
      by_name[CaseFolded(names[i])].push_back(i);
    }
    for (const auto& [name, group] : by_name) {
      if (group.size() == 1) continue;
      settled = false;
      for (const std::size_t i : group) ++levels[i];
    }
  }
  for (std::string& name : names) name += extension;
  return names;
}

}  // namespace endgrade::cli

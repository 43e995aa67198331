#include "job/address.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <string_view>
#include <vector>

namespace endgrade::job {
namespace fs = std::filesystem;
namespace {

constexpr std::size_t kLongestName = 60;

bool IsPlain(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-';
}

// Names that Windows keeps for devices, with any ending.
bool IsDeviceName(const std::string& name) {
  const std::string stem = LowerCase(name.substr(0, name.find('.')));
  static constexpr std::array<std::string_view, 4> kDevices = {"con", "prn", "aux", "nul"};
  if (std::find(kDevices.begin(), kDevices.end(), stem) != kDevices.end()) return true;
  const bool numbered = stem.size() == 4 && stem[3] >= '1' && stem[3] <= '9';
  return numbered && (stem.starts_with("com") || stem.starts_with("lpt"));
}

}  // namespace

std::string LowerCase(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(), [](unsigned char c) {
    return static_cast<char>(std::tolower(c));
  });
  return text;
}

std::string Address::Words() const {
  std::string words;
  for (const auto* level : {&site, &cabinet, &panel, &port}) {
    if (!level->empty()) words += (words.empty() ? "" : " / ") + *level;
  }
  return words;
}

fs::path Address::Folder() const {
  return fs::path(FolderName(site)) / FolderName(cabinet) / FolderName(panel) / FolderName(port);
}

bool Address::IsMeantBy(const std::string& text) const {
  if (text == Words()) return true;
  for (const std::string_view between : {"/", "-", "_", " "}) {
    std::string name = port;
    if (text == name) return true;
    for (const auto* level : {&panel, &cabinet, &site}) {
      if (level->empty()) continue;
      name.insert(0, between);
      name.insert(0, *level);
      if (text == name) return true;
    }
  }
  return false;
}

std::string Face::Words() const {
  return address.Words() + ", side " + side +
         (fibre == 1 ? "" : ", fibre " + std::to_string(fibre));
}

fs::path Face::Folder() const {
  return address.Folder() / FolderName(side) / ("f" + std::to_string(fibre));
}

std::string FolderName(const std::string& name) {
  if (name.empty()) return "_";
  constexpr std::string_view kDigits = "0123456789ABCDEF";
  std::string folder;
  for (std::size_t i = 0; i < name.size(); ++i) {
    const char c = name[i];
    const bool is_outer = i == 0 || i + 1 == name.size();
    if (IsPlain(c) || (c == '.' && !is_outer)) {
      folder += c;
    } else if (c == ' ' && !is_outer) {
      folder += '_';
    } else {
      const auto byte = static_cast<unsigned char>(c);
      folder += '%';
      folder += kDigits[byte >> 4];
      folder += kDigits[byte & 15];
    }
  }
  return folder;
}

std::optional<std::string> NameProblem(const std::string& name) {
  if (name.size() > kLongestName) return "is longer than 60 bytes";
  if (name.find('/') != std::string::npos) return "holds a slash";
  if (IsDeviceName(name)) return "is a name that Windows keeps for a device";
  return std::nullopt;
}

}  // namespace endgrade::job

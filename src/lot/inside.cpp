#include "lot/inside.h"

#include <algorithm>

namespace endgrade::lot {
namespace fs = std::filesystem;

std::optional<fs::path> PlaceInside(const fs::path& folder, const std::string& text) {
  if (fs::path(text).is_absolute()) return std::nullopt;
  std::error_code error;
  const fs::path home = fs::weakly_canonical(folder.empty() ? fs::path(".") : folder, error);
  if (error) return std::nullopt;
  const fs::path place = fs::weakly_canonical(home / text, error);
  if (error) return std::nullopt;
  const auto end = std::mismatch(home.begin(), home.end(), place.begin(), place.end()).first;
  return end == home.end() ? std::optional(place) : std::nullopt;
}

}  // namespace endgrade::lot

#include "endgrade/limits.h"
#include "limits/files.h"

#include <algorithm>
#include <system_error>

namespace endgrade {
namespace fs = std::filesystem;
namespace {

std::string IdsThereAre(const fs::path& folder) {
  std::vector<std::string> ids;
  for (const fs::path& file : LimitsFilesUnder(folder)) ids.push_back(file.stem().string());
  std::sort(ids.begin(), ids.end());
  std::string text;
  for (const std::string& id : ids) text += (text.empty() ? "" : ", ") + id;
  return text;
}

Error NoSuchLimits(const std::string& id, const fs::path& folder) {
  const std::string ids = IdsThereAre(folder);
  if (ids.empty()) {
    return {ErrorKind::kNotFound,
            folder.string(),
            0,
            "no limits files there, so no limits called \"" + id + "\"",
            "Set ENDGRADE_ZONES to the folder that holds them"};
  }
  return {ErrorKind::kNotFound,
          "",
          0,
          "there are no limits called \"" + id + "\"",
          "There are: " + ids + "; or give the path of a limits file"};
}

Error TwoOf(const std::string& id, const std::vector<fs::path>& files) {
  return {ErrorKind::kBadLimits,
          files[1].string(),
          0,
          "two limits files have the ID \"" + id + "\"; the other is " + files[0].string(),
          "Rename one of them, and its id"};
}

}  // namespace

Result<Limits> FindLimits(const std::string& id_or_file) {
  std::error_code ignored;
  if (LooksLikePath(id_or_file)) return ReadLimits(id_or_file);
  const fs::path folder = LimitsFolder();
  const auto files = LimitsFilesOf(folder, id_or_file);
  if (files.size() > 1) return TwoOf(id_or_file, files);
  if (files.size() == 1) return ReadLimits(files.front());
  if (fs::is_regular_file(id_or_file, ignored)) return ReadLimits(id_or_file);
  return NoSuchLimits(id_or_file, folder);
}

std::vector<Result<Limits>> ListLimits() {
  std::vector<fs::path> files = LimitsFilesUnder(LimitsFolder());
  std::stable_sort(files.begin(), files.end(), [](const fs::path& a, const fs::path& b) {
    return a.stem() < b.stem();
  });
  std::vector<Result<Limits>> list;
  for (size_t i = 0; i < files.size(); ++i) {
    if (i > 0 && files[i].stem() == files[i - 1].stem()) {
      list.emplace_back(TwoOf(files[i].stem().string(), {files[i - 1], files[i]}));
    } else {
      list.emplace_back(ReadLimits(files[i]));
    }
  }
  return list;
}

}  // namespace endgrade

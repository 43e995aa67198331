#include "lot/intake.h"

#include "lot/taken_at.h"

#include <algorithm>
#include <map>
#include <sys/stat.h>
#include <tuple>

namespace endgrade::lot {
namespace fs = std::filesystem;
namespace {

// Folder names that are a kind's name tell the kind where the pattern does not.
std::string KindFromFolders(const Settings& settings, const fs::path& path) {
  for (const fs::path& part : path.parent_path()) {
    const auto entry = settings.limits.find(part.string());
    if (entry != settings.limits.end() && !entry->first.empty()) return entry->first;
  }
  return "";
}

std::string KindOf(const Settings& settings, const store::Face& face, const fs::path& path) {
  if (!face.kind.empty()) return face.kind;
  const auto by_end = settings.kind_of_end.find(face.end);
  if (by_end != settings.kind_of_end.end()) return by_end->second;
  return KindFromFolders(settings, path);
}

// Size and time of the file; false when it is gone.
bool LookAt(Photograph* photograph) {
  struct stat status {};
  if (stat(photograph->file.c_str(), &status) != 0) return false;
  photograph->size_bytes = status.st_size;
  photograph->modified_ns = NanosecondsOf(status.st_mtim);
  return true;
}

void NoteClashes(Intake* intake) {
  std::map<std::tuple<std::string, std::string, int, int, std::string>,
           std::vector<const Photograph*>>
      by_attempt;
  for (const Photograph& photograph : intake->photographs) {
    const store::Face& face = photograph.face;
    by_attempt[{face.cord, face.end, face.fibre, face.attempt, face.rater}].push_back(&photograph);
  }
  for (const auto& [key, photographs] : by_attempt) {
    if (photographs.size() < 2) continue;
    for (const Photograph* photograph : photographs) {
      const Photograph* other = photograph == photographs[0] ? photographs[1] : photographs[0];
      intake->left_out.push_back({photograph->path,
                                  "is of the same face and attempt as " + other->path +
                                      ": neither counts. Give one of them another attempt number"});
    }
  }
}

}  // namespace

Intake TakeIn(const Settings& settings, const std::vector<fs::path>& files) {
  Intake intake;
  for (const fs::path& file : files) {
    Photograph photograph;
    photograph.file = file;
    photograph.path = file.lexically_relative(settings.photographs).generic_string();
    const auto face = MatchAny(settings.patterns, photograph.path);
    if (!face) {
      intake.left_out.push_back({photograph.path,
                                 "the name does not match the lot's pattern. Rename it like "
                                 "cord-0001-A-2.jpg, or write the "
                                 "pattern into a lot file"});
      continue;
    }
    photograph.face = *face;
    photograph.face.kind = KindOf(settings, *face, photograph.path);
    photograph.limits = settings.LimitsOf(photograph.face.kind);
    if (!photograph.limits) {
      intake.left_out.push_back({photograph.path,
                                 "there are no limits for its kind \"" + photograph.face.kind +
                                     "\". Add a line to [limits], or use --limits"});
    } else if (!LookAt(&photograph)) {
      intake.left_out.push_back({photograph.path, "the file is gone. Check the folder"});
    } else {
      intake.photographs.push_back(std::move(photograph));
    }
  }
  const auto by_path = [](const auto& a, const auto& b) { return a.path < b.path; };
  std::sort(intake.photographs.begin(), intake.photographs.end(), by_path);
  NoteClashes(&intake);
  std::sort(intake.left_out.begin(), intake.left_out.end(), by_path);
  return intake;
}

}  // namespace endgrade::lot

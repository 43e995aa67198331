#include "cli/inputs.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <set>
#include <string_view>
#include <system_error>

namespace endgrade::cli {
namespace fs = std::filesystem;
namespace {

bool IsHidden(const fs::path& path) { return path.filename().native().starts_with('.'); }

bool HasPictureName(const fs::path& path) {
  static constexpr std::array<std::string_view, 7> kEndings = {
      ".jpg", ".jpeg", ".jpe", ".png", ".tif", ".tiff", ".bmp"};
  std::string ending = path.extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(), [](unsigned char c) {
    return static_cast<char>(std::tolower(c));
  });
  return std::find(kEndings.begin(), kEndings.end(), ending) != kEndings.end();
}

Error FolderError(const fs::path& folder, std::string what, std::string remedy) {
  return {ErrorKind::kUnreadable, folder.string(), 0, std::move(what), std::move(remedy)};
}

// Appends the pictures that stand in `folder` itself, and to `folders` those within it.
void AppendPictures(const fs::path& folder, Inputs* inputs, std::vector<fs::path>* folders) {
  std::error_code error;
  fs::directory_iterator entries(folder, error);
  while (!error && entries != fs::directory_iterator()) {
    const fs::directory_entry& entry = *entries;
    std::error_code ignored;
    if (!IsHidden(entry.path())) {
      if (entry.is_directory(ignored)) {
        if (!entry.is_symlink(ignored)) folders->push_back(entry.path());
      } else if (HasPictureName(entry.path())) {
        inputs->pictures.push_back(entry.path());
      }
    }
    entries.increment(error);
  }
  if (error) {
    inputs->problems.push_back(FolderError(
        folder, "the folder cannot be listed: " + error.message(), "Check its permissions"));
  }
}

// All below `folder`, unordered. One folder is open at a time, however deep they lie, and one that
// cannot be listed costs only itself.
Inputs PicturesBelow(const fs::path& folder, std::size_t max_pictures) {
  Inputs found;
  std::vector<fs::path> folders = {folder};
  while (!folders.empty()) {
    const fs::path next = std::move(folders.back());
    folders.pop_back();
    AppendPictures(next, &found, &folders);
    if (found.pictures.size() > max_pictures) {
      found.pictures.clear();
      found.problems = {
          FolderError(folder,
                      "more than " + std::to_string(max_pictures) + " pictures are in this folder",
                      "Give the folders in it one by one")};
      break;
    }
  }
  return found;
}

void AppendFolder(const fs::path& folder, std::size_t max_pictures, Inputs* inputs) {
  Inputs found = PicturesBelow(folder, max_pictures);
  if (found.pictures.empty() && found.problems.empty()) {
    found.problems.push_back(FolderError(
        folder, "no picture in this folder", "Name a folder that holds JPEG, PNG, TIFF or BMP"));
  }
  std::sort(found.pictures.begin(), found.pictures.end(), [](const auto& a, const auto& b) {
    return a.native() < b.native();
  });
  std::sort(found.problems.begin(), found.problems.end(), [](const auto& a, const auto& b) {
    return a.file < b.file;
  });
  inputs->pictures.insert(inputs->pictures.end(), found.pictures.begin(), found.pictures.end());
  inputs->problems.insert(inputs->problems.end(), found.problems.begin(), found.problems.end());
}

// The path with links and dots resolved as far as it exists; as given where that fails.
fs::path Resolved(const fs::path& path) {
  std::error_code error;
  fs::path absolute = fs::absolute(path.empty() ? "." : path, error);
  if (error) return path.lexically_normal();
  fs::path resolved = fs::weakly_canonical(absolute, error);
  if (error) return absolute.lexically_normal();
  return resolved.has_filename() ? resolved : resolved.parent_path();
}

// Pictures of one folder follow each other: their folder is resolved once for all of them.
void KeepFirstOfEach(std::vector<fs::path>* pictures) {
  std::set<fs::path::string_type> seen;
  fs::path folder;
  fs::path resolved_folder;
  std::erase_if(*pictures, [&](const fs::path& picture) {
    std::error_code error;
    if (!picture.has_filename() || fs::is_symlink(picture, error)) {
      return !seen.insert(Resolved(picture).native()).second;
    }
    if (resolved_folder.empty() || picture.parent_path() != folder) {
      folder = picture.parent_path();
      resolved_folder = Resolved(folder);
    }
    return !seen.insert((resolved_folder / picture.filename()).native()).second;
  });
}

bool IsSameOrInside(const fs::path& path, const fs::path& folder) {
  const auto [rest, unused] = std::mismatch(folder.begin(), folder.end(), path.begin(), path.end());
  return rest == folder.end();
}

}  // namespace

Inputs ListInputs(const std::vector<std::string>& paths, std::size_t max_pictures) {
  Inputs inputs;
  for (const fs::path path : paths) {
    std::error_code ignored;
    if (fs::is_directory(path, ignored)) {
      AppendFolder(path, max_pictures, &inputs);
    } else {
      inputs.pictures.push_back(path);
    }
  }
  KeepFirstOfEach(&inputs.pictures);
  return inputs;
}

std::optional<Error> OutputProblem(const fs::path& folder,
                                   const std::vector<std::string>& paths,
                                   const Inputs& inputs) {
  const Error problem{ErrorKind::kBadOption,
                      folder.string(),
                      0,
                      "results would stand among the input pictures",
                      "Name a folder for --out that holds no input and is in no input folder"};
  const fs::path out = Resolved(folder);
  for (const std::string& path : paths) {
    std::error_code ignored;
    if (fs::is_directory(path, ignored) && IsSameOrInside(out, Resolved(path))) return problem;
  }
  const fs::path overlays = out / "overlays";
  for (const fs::path& picture : inputs.pictures) {
    // Both where the name stands and, through a link, where the file is.
    for (const fs::path& place : {Resolved(picture), Resolved(picture.parent_path()) / "x"}) {
      if (place.parent_path() == out || IsSameOrInside(place, overlays)) return problem;
    }
  }
  return std::nullopt;
}

}  // namespace endgrade::cli

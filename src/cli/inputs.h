// The pictures that a command line names: files as they are given, folders as what is in them.
#pragma once

#include "endgrade/result.h"

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::cli {

struct Inputs {
  std::vector<std::filesystem::path> pictures;  // in the order given, each file once
  std::vector<Error> problems;                  // folders that could not be listed, or hold nothing
};

// Of one folder. Common practice, no source: a lab's year.
inline constexpr std::size_t kMostPictures = 1'000'000;

// A named file is taken whatever its name, even one that is not there: it gets its record. Of a
// folder and the folders in it (links to folders are not followed, hidden names are left out) what
// ends in .jpg, .jpeg, .jpe, .png, .tif, .tiff or .bmp is taken, ordered by the bytes of its path.
// Of a folder that holds more than `max_pictures` none is taken, and a problem says so: each takes
// some 500 bytes until the run ends.
[[nodiscard]] Inputs ListInputs(const std::vector<std::string>& paths,
                                std::size_t max_pictures = kMostPictures);

// Why results must not go to `folder`: it would put files beside an input, or where the next run
// on the same inputs would read them. Nothing if they may.
[[nodiscard]] std::optional<Error> OutputProblem(const std::filesystem::path& folder,
                                                 const std::vector<std::string>& paths,
                                                 const Inputs& inputs);

}  // namespace endgrade::cli

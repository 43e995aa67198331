// Photographs and other files into a job.
#pragma once

#include "job/folder.h"

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::job {

struct AddOptions {
  std::string who;     // empty: the job file's
  std::string camera;  // in words; empty: the job file's
  std::string port;    // as a person writes it; empty: told by the photographs' names
  std::string side;
  int fibre = 1;
  int threads = 1;
};

struct Added {
  std::filesystem::path source;
  Face face;
  store::Row row;
  bool was_there = false;  // the job had this very picture of this face already
};

struct AddResult {
  std::vector<Added> added;    // in the order of the files
  std::vector<Error> refused;  // each with its file; the others were taken
  bool stopped = false;
};

// Each photograph is copied under its content's hash (to a temporary name, flushed, renamed),
// graded, and appended with the next attempt number of its face, or the one that its name tells.
// One that cannot be read is refused, and so is a picture that stands for another face already.
// A killed run loses nothing that it said was added; the same command goes on from there.
//
//   step      after each photograph; returns false to stop
//   errors    what stops all of it: of the store, of the disk, of options
[[nodiscard]] Result<AddResult> AddPhotographs(
    Folder& folder,
    const std::vector<std::filesystem::path>& files,
    const AddOptions& options,
    const std::function<bool(const Added&, std::size_t done, std::size_t all)>& step);

// Files of any kind, kept by hash and never interpreted. Errors: of reading, of the disk, of the
// port; what was attached before stays.
[[nodiscard]] std::optional<Error> Attach(Folder& folder,
                                          const std::string& port,
                                          const std::vector<std::filesystem::path>& files,
                                          const std::string& who);

}  // namespace endgrade::job

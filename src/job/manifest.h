// Every file of a job by its hash: what makes one changed bit show.
#pragma once

#include "endgrade/result.h"

#include <cstdint>
#include <filesystem>
#include <map>
#include <string>

namespace endgrade::job {

struct FileEntry {
  std::int64_t size_bytes = 0;
  std::string sha256;
  [[nodiscard]] bool operator==(const FileEntry&) const = default;
};

// Written at the end of every command that changes the job. It has exactly one form for what it
// says, and nothing in it is without meaning: a manifest of any other form was changed.
struct Manifest {
  std::map<std::string, FileEntry> files;  // by path from the job's folder, with slashes
  std::int64_t num_photographs = 0;        // in the store
  std::string head;                        // of the photographs' chain
  std::int64_t num_entries = 0;            // in the log
  std::string log_head;

  [[nodiscard]] std::string Json() const;  // schema "endgrade.job-manifest/1"
  // Errors: kCorrupt; kUnsupported for a newer schema.
  [[nodiscard]] static Result<Manifest> Parse(const std::string& json);
};

// Whether the manifest speaks of this file: all but itself and the store's lock.
[[nodiscard]] bool IsListed(const std::string& path);

// Errors: of reading.
[[nodiscard]] Result<FileEntry> EntryOf(const std::filesystem::path& file);

// What is in a folder and the folders in it, by path with slashes; links are not followed.
struct Found {
  std::map<std::string, bool> files;  // true: a plain file; false: a link, a device, ...
  std::string problem;                // a folder that could not be listed; empty: none
};
[[nodiscard]] Found FilesIn(const std::filesystem::path& folder);

// Left by a command that was killed while it wrote: no file of the job.
[[nodiscard]] bool IsPartial(const std::string& path);

}  // namespace endgrade::job

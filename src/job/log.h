// What was done in a job, in the store's log of runs: one JSON object an entry.
#pragma once

#include "evidence/evidence.h"
#include "job/address.h"
#include "store/store.h"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace endgrade::job {

// Photographs were added from here on, by these.
struct Adding {
  std::string who;
  std::string camera;  // in words
  evidence::Settings settings;
};

// A file of another instrument, or a note, kept with a port and never interpreted.
struct Attachment {
  Address address;
  std::string file;  // from the job's folder
  std::string name;  // that it came with
  std::int64_t size_bytes = 0;
  std::string sha256;
  std::string who;
};

struct Entry {
  std::int64_t num_photographs = 0;  // in the store when it was written
  std::string at;                    // UTC
  std::string what;                  // "new", "add", "attach", "sign", ...
  Adding adding;                     // of an "add"
  Attachment attachment;             // of an "attach"
  std::string job_file_sha256;       // of job.toml, then
};

[[nodiscard]] std::string NewEvent(const std::string& job_file_sha256);
[[nodiscard]] std::string AddEvent(const Adding& adding, const std::string& job_file_sha256);
// After the last photograph of a command: says where the chain then stood.
[[nodiscard]] std::string AddedEvent(std::size_t num_added, const std::string& job_file_sha256);
[[nodiscard]] std::string AttachEvent(const Attachment& attachment,
                                      const std::string& job_file_sha256);
[[nodiscard]] std::string ChangedEvent(const std::string& job_file_sha256);  // of the job file
[[nodiscard]] std::string SignEvent(const std::string& fingerprint,
                                    const std::string& job_file_sha256);

// Errors: of the store; kCorrupt for an entry that is none of these.
[[nodiscard]] Result<std::vector<Entry>> ReadLog(const store::Store& store);

// The entry under which a row was added; null for a row before any.
[[nodiscard]] const Entry* AddingOf(const std::vector<Entry>& log, std::int64_t seq);

}  // namespace endgrade::job

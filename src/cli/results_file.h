// DIR/results.ndjson: whole or not there.
#pragma once

#include "endgrade/result.h"

#include <filesystem>
#include <optional>
#include <string>

namespace endgrade::cli {

// Lines go to DIR/results.ndjson.partial, each with one write, and the file takes its final name
// when all are there: an interrupted run leaves an older results.ndjson as it was, and its own
// whole lines in the partial file.
class ResultsFile {
 public:
  // Creates the folder where it is not there. Errors: kWriteFailed; also when another run holds the
  // partial file.
  [[nodiscard]] static Result<ResultsFile> Open(const std::filesystem::path& folder);

  ResultsFile(ResultsFile&& other) noexcept;
  ResultsFile& operator=(ResultsFile&&) = delete;
  ~ResultsFile();

  [[nodiscard]] std::optional<Error> AppendLine(std::string line);

  // Flushes to the disk and renames.
  [[nodiscard]] std::optional<Error> Finish();

  [[nodiscard]] const std::filesystem::path& partial_path() const { return partial_path_; }
  [[nodiscard]] const std::filesystem::path& final_path() const { return final_path_; }

 private:
  explicit ResultsFile(const std::filesystem::path& folder);

  std::filesystem::path final_path_;
  std::filesystem::path partial_path_;
  int descriptor_ = -1;
};

}  // namespace endgrade::cli

// Waits for photographs that arrive while the lot is being graded.
#pragma once

#include "endgrade/result.h"

#include <chrono>
#include <filesystem>
#include <functional>
#include <memory>

namespace endgrade::lot {

// inotify on a folder and the folders in it, new ones included.
class FolderWatch {
 public:
  // Errors: kUnreadable, with what the system says (too many watches, no such folder).
  [[nodiscard]] static Result<FolderWatch> Open(const std::filesystem::path& folder);

  FolderWatch(FolderWatch&&) noexcept;
  FolderWatch& operator=(FolderWatch&&) = delete;
  ~FolderWatch();

  enum class News { kChanged, kNothing, kStopped };
  // Returns when something was written or moved into the folder, after `most` at the latest, or
  // when `stop` says so (asked ten times a second).
  [[nodiscard]] News Wait(std::chrono::milliseconds most, const std::function<bool()>& stop);

 private:
  struct State;
  explicit FolderWatch(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

// Whether a file was left alone for two seconds, so that a copy that is still being written is not
// taken for a damaged picture. One that is graded too early all the same is graded again when it
// has changed.
[[nodiscard]] bool IsSettled(std::int64_t modified_ns);

}  // namespace endgrade::lot

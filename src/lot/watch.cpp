#include "lot/watch.h"

#include <array>
#include <cerrno>
#include <map>
#include <poll.h>
#include <sys/inotify.h>
#include <system_error>
#include <unistd.h>

namespace endgrade::lot {
namespace fs = std::filesystem;
namespace {

constexpr std::uint32_t kEvents = IN_CLOSE_WRITE | IN_MOVED_TO | IN_CREATE | IN_ONLYDIR;
constexpr int kAsk_ms = 100;

Error WatchError(const fs::path& folder) {
  return {ErrorKind::kUnreadable,
          folder.string(),
          0,
          "the folder cannot be watched: " + std::generic_category().message(errno),
          errno == ENOSPC ? "Raise fs.inotify.max_user_watches, or run without --watch"
                          : "Check its name and permissions, or run without --watch"};
}

}  // namespace

struct FolderWatch::State {
  int descriptor = -1;
  std::map<int, fs::path> folders;  // by inotify's watch

  ~State() {
    if (descriptor >= 0) close(descriptor);
  }

  bool Add(const fs::path& folder) {
    const int watch = inotify_add_watch(descriptor, folder.c_str(), kEvents);
    if (watch < 0) return false;
    folders[watch] = folder;
    std::error_code ignored;
    fs::directory_iterator entries(folder, ignored);
    while (!ignored && entries != fs::directory_iterator()) {
      std::error_code unknown;
      if (entries->is_directory(unknown) && !entries->is_symlink(unknown)) Add(entries->path());
      entries.increment(ignored);
    }
    return true;
  }

  // Takes all that is waiting; folders that appeared are watched too.
  void Take() {
    alignas(inotify_event) std::array<char, 16384> buffer{};
    const ssize_t size = ::read(descriptor, buffer.data(), buffer.size());
    for (ssize_t at = 0; at < size;) {
      const auto* event = reinterpret_cast<const inotify_event*>(buffer.data() + at);
      if ((event->mask & IN_ISDIR) != 0 && event->len > 0 && folders.contains(event->wd)) {
        Add(folders[event->wd] / event->name);
      }
      at += static_cast<ssize_t>(sizeof(inotify_event) + event->len);
    }
  }
};

FolderWatch::FolderWatch(std::unique_ptr<State> state) : state_(std::move(state)) {}
FolderWatch::FolderWatch(FolderWatch&&) noexcept = default;
FolderWatch::~FolderWatch() = default;

Result<FolderWatch> FolderWatch::Open(const fs::path& folder) {
  auto state = std::make_unique<State>();
  state->descriptor = inotify_init1(IN_CLOEXEC | IN_NONBLOCK);
  if (state->descriptor < 0 || !state->Add(folder)) return WatchError(folder);
  return FolderWatch(std::move(state));
}

FolderWatch::News FolderWatch::Wait(std::chrono::milliseconds most,
                                    const std::function<bool()>& stop) {
  const auto end = std::chrono::steady_clock::now() + most;
  while (std::chrono::steady_clock::now() < end) {
    if (stop()) return News::kStopped;
    pollfd waiting{state_->descriptor, POLLIN, 0};
    if (poll(&waiting, 1, kAsk_ms) > 0) {
      state_->Take();
      return News::kChanged;
    }
  }
  return stop() ? News::kStopped : News::kNothing;
}

bool IsSettled(std::int64_t modified_ns) {
  const auto now = std::chrono::duration_cast<std::chrono::nanoseconds>(
                       std::chrono::system_clock::now().time_since_epoch())
                       .count();
  constexpr std::int64_t kQuiet_ns = 2'000'000'000;
  // A file of the future (another machine's clock) will not settle by waiting.
  return modified_ns > now || modified_ns <= now - kQuiet_ns;
}

}  // namespace endgrade::lot

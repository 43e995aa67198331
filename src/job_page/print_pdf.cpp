#include "job_page/print_pdf.h"

#include "endgrade/present.h"
#include "read/file_bytes.h"

#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <fcntl.h>
#include <spawn.h>
#include <string>
#include <sys/wait.h>
#include <system_error>
#include <thread>
#include <unistd.h>
#include <vector>

extern char** environ;

namespace endgrade::job_page {
namespace fs = std::filesystem;
namespace {

constexpr auto kLongestWait = std::chrono::seconds(120);
constexpr auto kLook = std::chrono::milliseconds(50);
constexpr std::int64_t kMostPdfBytes = 1ll << 30;

Error NoBrowser() {
  return {ErrorKind::kNotFound,
          "",
          0,
          "there is no chromium here to print the report as PDF; the HTML report is written",
          "Install chromium, name a browser in ENDGRADE_BROWSER, or open the report in any browser "
          "and print it to a file"};
}

// A folder of the browser's own, gone afterwards.
class Scratch {
 public:
  Scratch() {
    std::error_code error;
    std::string name = (fs::temp_directory_path(error) / "endgrade-print-XXXXXX").string();
    if (!error && mkdtemp(name.data()) != nullptr) path_ = name;
  }
  ~Scratch() {
    std::error_code ignored;
    if (!path_.empty()) fs::remove_all(path_, ignored);
  }
  Scratch(const Scratch&) = delete;
  Scratch& operator=(const Scratch&) = delete;
  [[nodiscard]] const fs::path& path() const { return path_; }

 private:
  fs::path path_;
};

std::vector<std::string> Browsers() {
  const char* chosen = std::getenv("ENDGRADE_BROWSER");
  if (chosen && *chosen) return {chosen};
  return {"chromium", "chromium-browser", "google-chrome"};
}

std::optional<pid_t> Start(const std::vector<std::string>& arguments) {
  std::vector<char*> argv;
  for (const std::string& argument : arguments) argv.push_back(const_cast<char*>(argument.c_str()));
  argv.push_back(nullptr);
  posix_spawn_file_actions_t quiet;
  posix_spawn_file_actions_init(&quiet);
  for (const int descriptor : {STDOUT_FILENO, STDERR_FILENO}) {
    posix_spawn_file_actions_addopen(&quiet, descriptor, "/dev/null", O_WRONLY, 0);
  }
  posix_spawn_file_actions_addopen(&quiet, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  pid_t child = 0;
  const int refused = posix_spawnp(&child, argv.front(), &quiet, nullptr, argv.data(), environ);
  posix_spawn_file_actions_destroy(&quiet);
  return refused == 0 ? std::optional(child) : std::nullopt;
}

// Whether it ended well within the time; else it is ended.
bool EndsWell(pid_t child) {
  const auto until = std::chrono::steady_clock::now() + kLongestWait;
  int status = 0;
  while (std::chrono::steady_clock::now() < until) {
    const pid_t ended = waitpid(child, &status, WNOHANG);
    if (ended == child) return WIFEXITED(status) && WEXITSTATUS(status) == 0;
    if (ended < 0 && errno != EINTR) return false;
    std::this_thread::sleep_for(kLook);
  }
  kill(child, SIGKILL);
  waitpid(child, &status, 0);
  return false;
}

std::vector<std::string> PrintCommand(const std::string& browser,
                                      const fs::path& scratch,
                                      const fs::path& html) {
  std::vector<std::string> command = {browser,
                                      "--headless",
                                      "--disable-gpu",
                                      "--disable-quic",
                                      "--no-first-run",
                                      "--disable-background-networking",
                                      "--disable-component-update",
                                      "--disable-sync",
                                      "--no-pdf-header-footer",
                                      "--user-data-dir=" + (scratch / "profile").string(),
                                      "--print-to-pdf=" + (scratch / "report.pdf").string()};
  // As root chromium starts only without its sandbox; the page is our own and may load nothing.
  if (geteuid() == 0) command.emplace_back("--no-sandbox");
  command.push_back(html.string());
  return command;
}

}  // namespace

std::optional<Error> PrintPdf(const fs::path& html, const fs::path& pdf) {
  const Scratch scratch;
  // A copy under a plain name: a browser would take a # or ? of the file's own name for its own.
  const auto page = read::ReadNamedFileBytes(html, kMostPdfBytes);
  if (!page.ok()) return page.error();
  const fs::path copy = scratch.path() / "report.html";
  if (auto error = WriteFileSafely(copy, *page)) return error;
  for (const std::string& browser : Browsers()) {
    const auto child = Start(PrintCommand(browser, scratch.path(), copy));
    if (!child) continue;
    const bool well = EndsWell(*child);
    const auto bytes = read::ReadNamedFileBytes(scratch.path() / "report.pdf", kMostPdfBytes);
    if (well && bytes.ok() && bytes->starts_with("%PDF")) return WriteFileSafely(pdf, *bytes);
    return Error{ErrorKind::kWriteFailed,
                 pdf.string(),
                 0,
                 browser + " made no PDF of " + html.string(),
                 "Open the HTML report in any browser and print it to a file"};
  }
  return NoBrowser();
}

}  // namespace endgrade::job_page

#include "cli/grade_run.h"

#include "cli/error_line.h"
#include "cli/exit_codes.h"
#include "cli/interrupt.h"
#include "cli/overlay_names.h"
#include "cli/picture_memory.h"
#include "cli/results_file.h"
#include "cli/run_in_order.h"
#include "cli/tally.h"
#include "endgrade/present.h"
#include "evidence/evidence.h"
#include "present/escape.h"

#include <chrono>
#include <cstdio>
#include <exception>
#include <new>
#include <system_error>
#include <unistd.h>

namespace endgrade::cli {
namespace fs = std::filesystem;
namespace {

// What is left of a picture once it is graded: no pixels.
struct Outcome {
  std::optional<Verdict> verdict;  // empty: could not be read
  std::string record;
  std::string words;
  std::vector<Error> problems;
};

double MillisecondsSince(std::chrono::steady_clock::time_point start) {
  return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start)
      .count();
}

Outcome UnreadableOutcome(const GradeRun& run, const fs::path& picture, Error error) {
  if (error.file.empty()) error.file = picture.string();
  return {std::nullopt, UnreadableRecordJson(picture, run.limits, error), "", {error}};
}

Outcome GradePicture(const GradeRun& run, const fs::path& picture, const fs::path& overlay) {
  const auto start = std::chrono::steady_clock::now();
  auto frame = ReadFrame(picture, run.options.read);
  if (!frame.ok()) return UnreadableOutcome(run, picture, frame.error());
  const double read_ms = MillisecondsSince(start);
  auto grade = GradeFrame(*frame, run.limits, run.options);
  if (!grade.ok()) return UnreadableOutcome(run, picture, grade.error());
  grade->times.read_ms = read_ms;
  grade->times.total_ms += read_ms;
  Outcome outcome;
  outcome.verdict = grade->verdict;
  outcome.record = RecordJson(*frame, run.limits, *grade);
  if (!run.json) outcome.words = VerdictText(*frame, run.limits, *grade);
  if (!overlay.empty()) {
    // Without the times: the same picture, limits and build give the same overlay, byte for byte.
    Grade untimed = *grade;
    untimed.times = {};
    const std::string evidence = evidence::EvidenceJson({RecordJson(*frame, run.limits, untimed),
                                                         evidence::SettingsOf(run.options),
                                                         run.limits_sources});
    auto error = WritePicture(overlay, DrawOverlay(*frame, run.limits, *grade), evidence);
    if (error) outcome.problems.push_back(*error);
  }
  return outcome;
}

// The one place where what a library throws about one picture becomes that picture's error.
Outcome GradePictureSafely(const GradeRun& run, const fs::path& picture, const fs::path& overlay) {
  try {
    return GradePicture(run, picture, overlay);
  } catch (const std::bad_alloc&) {
    return UnreadableOutcome(run,
                             picture,
                             {ErrorKind::kOutOfMemory,
                              "",
                              0,
                              "not enough memory for this picture",
                              "Close other programs, or lower --threads"});
  } catch (const std::exception& e) {
    return UnreadableOutcome(run,
                             picture,
                             {ErrorKind::kInternal,
                              "",
                              0,
                              "a library beneath us refused: " + std::string(e.what()),
                              "Please report this with the picture"});
  }
}

void PrintWhole(const std::string& text) {
  std::fwrite(text.data(), 1, text.size(), stdout);
  if (!text.empty() && text.back() != '\n') std::fputc('\n', stdout);
  std::fflush(stdout);
}

// A line on stderr that overwrites itself; only where that is a terminal and the verdicts, which
// tell as much, go elsewhere.
class Progress {
 public:
  explicit Progress(std::size_t count) : count_(count) {}
  ~Progress() { Clear(); }
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  void Show(std::size_t done) const {
    if (is_shown_) std::fprintf(stderr, "\r%zu of %zu graded", done, count_);
  }
  void Clear() const {
    if (is_shown_) std::fputs("\r\x1b[K", stderr);
  }

 private:
  std::size_t count_;
  bool is_shown_ = isatty(STDERR_FILENO) != 0 && isatty(STDOUT_FILENO) == 0;
};

// Overlay paths by picture; empty paths where none is to be drawn.
Result<std::vector<fs::path>> OverlayPaths(const GradeRun& run) {
  std::vector<fs::path> paths(run.pictures.size());
  if (!run.folder || !run.overlay_extension) return paths;
  const fs::path folder = *run.folder / "overlays";
  std::error_code error;
  fs::create_directories(folder, error);
  if (error) {
    return Error{ErrorKind::kWriteFailed,
                 folder.string(),
                 0,
                 "cannot be written: " + error.message(),
                 "Name a folder for --out that can be written"};
  }
  const auto names = OverlayNames(run.pictures, *run.overlay_extension);
  for (std::size_t i = 0; i < paths.size(); ++i) paths[i] = folder / names[i];
  return paths;
}

// Takes the outcomes in order: prints, writes, counts.
class Emitter {
 public:
  Emitter(const GradeRun& run, std::optional<ResultsFile> file)
      : run_(run), file_(std::move(file)), progress_(run.pictures.size()) {}

  // False when there is no sense in going on: the results cannot be written.
  bool Take(const Outcome& outcome) {
    progress_.Clear();
    for (const Error& problem : outcome.problems) PrintErrorLine(problem.Text());
    tally_.Add(outcome.verdict, !outcome.problems.empty());
    PrintWhole(run_.json ? outcome.record : outcome.words);
    if (std::ferror(stdout) != 0) {
      given_up_ = true;  // main says so
      return false;
    }
    if (file_) {
      if (auto error = file_->AppendLine(outcome.record)) return GiveUp(error->Text());
    }
    progress_.Show(tally_.Count());
    TidyPictureMemory(tally_.Count());
    return true;
  }

  // After the last outcome, or the last before Ctrl-C.
  int Finish(const InterruptGuard& guard) {
    progress_.Clear();
    if (given_up_) return kBadInput;
    if (guard.Interrupted() && tally_.Count() < run_.pictures.size()) {
      std::string text = "stopped after " + std::to_string(tally_.Count()) + " of " +
                         std::to_string(run_.pictures.size()) + " pictures.";
      if (file_) text += " Their records are in " + file_->partial_path().string() + ".";
      PrintErrorLine(text);
      guard.EndBySignal();
    }
    if (file_) {
      if (auto error = file_->Finish()) {
        PrintErrorLine(error->Text());
        return kBadInput;
      }
    }
    if (!run_.json) PrintClosingLines();
    return tally_.ExitCode();
  }

 private:
  bool GiveUp(const std::string& why) {
    PrintErrorLine(why);
    given_up_ = true;
    return false;
  }

  void PrintClosingLines() const {
    if (run_.pictures.size() > 1) PrintWhole(tally_.Text());
    if (file_) PrintWhole("Records: " + PrintableText(file_->final_path().string()));
    if (file_ && run_.overlay_extension) {
      PrintWhole("Overlays: " + PrintableText((*run_.folder / "overlays").string()));
    }
  }

  const GradeRun& run_;
  std::optional<ResultsFile> file_;
  Progress progress_;
  Tally tally_;
  bool given_up_ = false;
};

}  // namespace

int GradeAll(const GradeRun& run) {
  std::optional<ResultsFile> file;
  if (run.folder) {
    auto opened = ResultsFile::Open(*run.folder);
    if (!opened.ok()) {
      PrintErrorLine(opened.error().Text());
      return kBadInput;
    }
    file.emplace(std::move(*opened));
  }
  const auto overlays = OverlayPaths(run);
  if (!overlays.ok()) {
    PrintErrorLine(overlays.error().Text());
    return kBadInput;
  }
  const InterruptGuard guard;
  Emitter emitter(run, std::move(file));
  RunInOrder<Outcome>(
      run.pictures.size(),
      run.threads,
      [&](std::size_t i) { return GradePictureSafely(run, run.pictures[i], overlays.value()[i]); },
      [&](std::size_t, const Outcome& outcome) {
        return emitter.Take(outcome) && !guard.Interrupted();
      });
  return emitter.Finish(guard);
}

}  // namespace endgrade::cli

#include "cli/lot_run.h"

#include "cli/between.h"
#include "cli/camera_option.h"
#include "cli/error_line.h"
#include "cli/inputs.h"
#include "cli/limits_option.h"
#include "cli/lot_progress.h"
#include "cli/picture_memory.h"
#include "lot/watch.h"

#include <charconv>
#include <set>
#include <thread>

namespace endgrade::cli {
namespace fs = std::filesystem;
namespace {

constexpr int kMostShards = 1'000'000;

void PrintError(ErrorKind kind, std::string file, std::string what, std::string remedy) {
  PrintErrorLine(Error{kind, std::move(file), 0, std::move(what), std::move(remedy)}.Text());
}

std::optional<lot::Settings> OfFile(const LotArguments& arguments) {
  const bool contradicts = !arguments.limits.empty() || !arguments.camera.empty() ||
                           !arguments.decision.empty() || !arguments.patterns.empty() ||
                           arguments.um_per_px.has_value();
  if (contradicts) {
    PrintError(ErrorKind::kBadOption,
               arguments.source,
               "limits, pattern, camera, scale and decision of a lot file are written in it",
               "Change the lot file, or give the folder instead");
    return std::nullopt;
  }
  auto check = lot::ReadLotFile(arguments.source);
  for (const Error& error : check.errors) PrintErrorLine(error.Text());
  return std::move(check.settings);
}

bool UseOptions(const LotArguments& arguments, lot::Settings* settings) {
  if (auto error = UseCameraFile(arguments.camera, &settings->options)) {
    PrintErrorLine(error->Text());
    return false;
  }
  settings->options.scale.um_per_px = arguments.um_per_px;
  if (arguments.decision == "guarded") {
    settings->options.judge.decision = DecisionRule::kGuarded;
  }
  if (!arguments.patterns.empty()) settings->patterns.clear();
  for (const std::string& text : arguments.patterns) {
    auto pattern = lot::NamePattern::Parse(text);
    if (!pattern.ok()) {
      PrintErrorLine(pattern.error().Text());
      return false;
    }
    settings->patterns.push_back(std::move(*pattern));
  }
  return true;
}

std::optional<lot::Settings> OfFolder(const LotArguments& arguments) {
  auto settings = lot::DefaultSettings(arguments.source, arguments.limits);
  if (!settings.ok()) {
    PrintErrorLine(settings.error().Text());
    return std::nullopt;
  }
  if (settings->limits.empty()) RequireLimits("");
  if (!UseOptions(arguments, &*settings)) return std::nullopt;
  return std::move(*settings);
}

// A line for each photograph that is left out, once a run also when watching lists it anew.
void SayLeftOut(const lot::Intake& intake, std::set<std::string>* said) {
  for (const lot::LeftOut& item : intake.left_out) {
    if (said->insert(item.path + item.why).second) {
      PrintErrorLine(item.path + ": " + item.why + ".");
    }
  }
}

void SayUnreadable(const store::Row& row) {
  PrintErrorLine(row.path + ": could not be read or graded; the report says why.");
}

}  // namespace

void AddLotOptions(CLI::App& verb, LotArguments* arguments) {
  verb.add_option("PATH", arguments->source, "A lot file, or a folder of photographs")
      ->required()
      ->type_name("");
  AddLimitsOption(verb, &arguments->limits);
  verb.add_option("--out", arguments->out, "Folder for results [beside the photographs]")
      ->type_name("DIR");
  verb.add_option("--pattern", arguments->patterns, "What a photograph is of, by its name")
      ->type_name("TEXT");
  AddCameraOption(verb, &arguments->camera);
  verb.add_option("--um-per-px",
                  arguments->um_per_px,
                  "Micrometres per pixel, 0.01 to 10 [from the cladding]")
      ->type_name("N")
      ->check(Between(0.01, 10.0));
  verb.add_option("--decision", arguments->decision, "guarded: a marginal pass fails [simple]")
      ->type_name("simple|guarded")
      ->check(CLI::IsMember({"simple", "guarded"}).description(""));
  verb.add_option("--threads", arguments->threads, "Pictures graded at a time [all cores]")
      ->type_name("N")
      ->check(CLI::Range(1, 256).description(""));
}

std::optional<lot::Settings> SettingsFrom(const LotArguments& arguments) {
  std::error_code ignored;
  if (!fs::exists(arguments.source, ignored)) {
    PrintError(ErrorKind::kNotFound,
               arguments.source,
               "there is no such file or folder",
               "Name a folder of photographs, or a lot file");
    return std::nullopt;
  }
  auto settings =
      fs::is_directory(arguments.source, ignored) ? OfFolder(arguments) : OfFile(arguments);
  if (settings) {
    if (const auto problem = settings->options.Problem()) {
      PrintErrorLine(*problem);
      return std::nullopt;
    }
  }
  return settings;
}

std::optional<fs::path> ResultsFolder(const LotArguments& arguments,
                                      const lot::Settings& settings) {
  fs::path folder = arguments.out;
  if (folder.empty()) {
    std::error_code ignored;
    fs::path photographs =
        fs::weakly_canonical(fs::absolute(settings.photographs, ignored), ignored);
    if (!photographs.has_filename()) photographs = photographs.parent_path();
    folder = photographs.string() + "-graded";
  }
  if (auto problem = OutputProblem(folder, {settings.photographs.string()}, Inputs{})) {
    PrintErrorLine(problem->Text());
    return std::nullopt;
  }
  std::error_code error;
  fs::create_directories(folder, error);
  if (error) {
    PrintError(ErrorKind::kWriteFailed,
               folder.string(),
               "cannot be written: " + error.message(),
               "Name a folder for --out that can be written");
    return std::nullopt;
  }
  return folder;
}

std::optional<lot::Shard> ShardFrom(const std::string& text) {
  lot::Shard shard;
  if (text.empty()) return shard;
  const char* end = text.data() + text.size();
  const auto first = std::from_chars(text.data(), end, shard.index);
  if (first.ec == std::errc() && first.ptr != end && *first.ptr == '/') {
    const auto second = std::from_chars(first.ptr + 1, end, shard.count);
    if (second.ec == std::errc() && second.ptr == end && shard.index >= 1 &&
        shard.index <= shard.count && shard.count <= kMostShards) {
      return shard;
    }
  }
  PrintErrorLine("--shard " + text + ": expected K/N, like 2/8 for the second of eight parts.");
  return std::nullopt;
}

int ThreadsOf(const LotArguments& arguments) {
  if (arguments.threads > 0) return arguments.threads;
  return std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
}

LotRun RunOnce(const lot::Settings& settings,
               const lot::RunOptions& options,
               store::Store& store,
               bool watching,
               const std::function<bool()>& stop) {
  static std::set<std::string> said;
  LotRun run;
  const Inputs inputs = ListInputs({settings.photographs.string()});
  if (!watching) {
    for (const Error& problem : inputs.problems) PrintErrorLine(problem.Text());
  }
  run.unlisted = !inputs.problems.empty();
  run.intake = lot::TakeIn(settings, inputs.pictures);
  if (watching) {
    std::erase_if(run.intake.photographs,
                  [](const auto& photograph) { return !lot::IsSettled(photograph.modified_ns); });
  }
  SayLeftOut(run.intake, &said);
  LotProgress progress;
  auto count = lot::RunLot(settings,
                           run.intake,
                           options,
                           store,
                           [&](const store::Row* row, std::size_t done, std::size_t all) {
                             if (row && row->verdict == "unreadable") {
                               progress.Clear();
                               SayUnreadable(*row);
                             }
                             progress.Show(done, all);
                             TidyPictureMemory(done);
                             return !stop();
                           });
  progress.Clear();
  if (count.ok()) {
    run.count = *count;
  } else {
    PrintErrorLine(count.error().Text());
    run.failed = true;
  }
  return run;
}

}  // namespace endgrade::cli

// What `lot` and `study` share: settings from a lot file or a folder, a store, a run.
#pragma once

#include "lot/intake.h"
#include "lot/run_lot.h"
#include "lot/settings.h"
#include "store/store.h"

#include <CLI/CLI.hpp>

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::cli {

struct LotArguments {
  std::string source;  // a lot file or a folder
  std::string limits;
  std::string camera;
  std::string out;
  std::string decision;
  std::string shard;
  std::vector<std::string> patterns;
  std::optional<double> um_per_px;
  int threads = 0;  // 0: all cores
};

// PATH, --limits, --out, --threads, --pattern, --um-per-px, --camera, --decision.
void AddLotOptions(CLI::App& verb, LotArguments* arguments);

// Settings of the lot file, or defaults for the folder; options of the command line come on top of
// defaults, and may not contradict a lot file. Prints what is wrong and gives nothing.
[[nodiscard]] std::optional<lot::Settings> SettingsFrom(const LotArguments& arguments);

// The folder for results: --out, or "<photographs>-graded" beside the photographs. Created. Prints
// what is wrong and gives nothing.
[[nodiscard]] std::optional<std::filesystem::path> ResultsFolder(const LotArguments& arguments,
                                                                 const lot::Settings& settings);

// "2/8" -> part 2 of 8. Nothing, and a line, where it is not that.
[[nodiscard]] std::optional<lot::Shard> ShardFrom(const std::string& text);

[[nodiscard]] int ThreadsOf(const LotArguments& arguments);

struct LotRun {
  lot::Intake intake;
  lot::RunCount count;
  bool failed = false;    // the store refused; said so
  bool unlisted = false;  // a folder could not be listed, or holds no photograph; said so
};

// Lists, takes in, grades and appends, with progress and a line for every problem. `watching`
// leaves files alone that may still be in the writing.
[[nodiscard]] LotRun RunOnce(const lot::Settings& settings,
                             const lot::RunOptions& options,
                             store::Store& store,
                             bool watching,
                             const std::function<bool()>& stop);

}  // namespace endgrade::cli

#include "study/study.h"

#include "cli/between.h"
#include "cli/error_line.h"
#include "cli/interrupt.h"
#include "cli/lot_run.h"
#include "cli/picture_memory.h"
#include "cli/print.h"
#include "cli/verbs.h"
#include "endgrade/present.h"
#include "present/escape.h"

#include <opencv2/core/utility.hpp>

#include <cstdio>
#include <memory>

namespace endgrade::cli {
namespace {

struct StudyVerb {
  LotArguments lot;
  std::optional<double> tolerance_um;
  bool json = false;
};

int Present(const StudyVerb& verb,
            const lot::Settings& settings,
            const store::Store& store,
            const std::filesystem::path& folder) {
  const auto result = study::Evaluate(store, settings, verb.tolerance_um);
  if (!result.ok()) return Refuse(result.error());
  const std::string json = study::StudyJson(*result) + "\n";
  if (auto error = WriteFileSafely(folder / "study.json", json)) return Refuse(*error);
  const std::string text = verb.json ? json : study::StudyText(*result);
  std::fwrite(text.data(), 1, text.size(), stdout);
  // Without two faces photographed twice there is no answer at all.
  return result->agreement ? kAllPass : kSomeUngradable;
}

int RunVerb(const StudyVerb& verb) {
  PreparePictureMemory();
  cv::setNumThreads(1);  // pictures run in parallel, not the parts of one
  auto settings = SettingsFrom(verb.lot);
  if (!settings) return kBadInput;
  std::error_code ignored;
  const bool is_folder = std::filesystem::is_directory(verb.lot.source, ignored);
  if (is_folder && verb.lot.patterns.empty()) settings->patterns = lot::DefaultStudyPatterns();
  const auto folder = ResultsFolder(verb.lot, *settings);
  if (!folder) return kBadInput;
  auto opened = store::Store::OpenToAppend(*folder / "study.sqlite");
  if (!opened.ok()) return Refuse(opened.error());
  store::Store store = std::move(*opened);
  const InterruptGuard guard;
  const lot::RunOptions options{ThreadsOf(verb.lot), {}};
  const LotRun run = RunOnce(*settings, options, store, false, [&] { return guard.Interrupted(); });
  if (run.failed) return kBadInput;
  if (auto error = store.Finish()) return Refuse(*error);
  if (run.count.stopped) {
    PrintErrorLine("stopped; the same command goes on from there.");
    guard.EndBySignal();
    return kBadInput;
  }
  const int code = Present(verb, *settings, store, *folder);
  const bool had_problems =
      run.unlisted || !run.intake.left_out.empty() || run.count.unreadable > 0;
  return had_problems ? static_cast<int>(kBadInput) : code;
}

}  // namespace

void AddStudy(CLI::App& app, int* exit_code) {
  auto arguments = std::make_shared<StudyVerb>();
  CLI::App* verb =
      app.add_subcommand("study", "Is the measurement good enough? The same faces again and again");
  AddLotOptions(*verb, &arguments->lot);
  verb->add_option("--tolerance-um",
                   arguments->tolerance_um,
                   "What sizes are held against [smallest that the limits allow none of]")
      ->type_name("N")
      ->check(Between(0.01, 1000.0));
  verb->add_flag("--json", arguments->json, "The result as JSON instead of words");
  verb->footer(
      "Example:\n"
      "  endgrade study --limits sm-upc repeated/\n"
      "reads repeated/ada/face-01-1.jpg, face-01-2.jpg ... and repeated/ben/face-01-1.jpg ...: "
      "the\n"
      "same faces, photographed equally often by each person or camera. Prints agreement of\n"
      "verdicts (per cent, Fleiss' kappa) and variation of sizes (repeatability, "
      "reproducibility).\n\n"
      "Exit codes: 0 done, 2 usage, or something was left out, 3 too few photographs to tell.");
  verb->callback([arguments, exit_code] { *exit_code = RunVerb(*arguments); });
}

}  // namespace endgrade::cli

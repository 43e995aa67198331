#include "cli/between.h"
#include "cli/error_line.h"
#include "cli/interrupt.h"
#include "cli/lot_run.h"
#include "cli/picture_memory.h"
#include "cli/print.h"
#include "cli/verbs.h"
#include "endgrade/present.h"
#include "lot/watch.h"
#include "present/escape.h"
#include "report/lot_report.h"
#include "summary/lot_summary.h"

#include <opencv2/core/utility.hpp>

#include <cstdio>
#include <memory>

namespace endgrade::cli {
namespace fs = std::filesystem;
namespace {

struct LotVerb {
  LotArguments lot;
  bool watch = false;
  double watch_idle_s = 0;  // 0: until Ctrl-C
};

std::string Number(std::size_t count, const char* of) { return std::to_string(count) + " " + of; }

std::string StoreName(const lot::Shard& shard) {
  if (shard.count == 1) return "lot.sqlite";
  return "lot-" + std::to_string(shard.index) + "-of-" + std::to_string(shard.count) + ".sqlite";
}

std::string RunWords(const lot::RunCount& count) {
  std::string text = Number(count.graded, "photographs graded");
  if (count.known > 0) text += ", " + Number(count.known, "known already");
  if (count.elsewhere > 0) text += ", " + Number(count.elsewhere, "of other parts");
  if (count.unreadable > 0) text += "; " + Number(count.unreadable, "could not be read");
  return text + ".\n";
}

std::string DecisionWords(const summary::LotSummary& summary) {
  const auto& decision = summary.decision;
  std::string text = "Lot: " + std::string(summary::Word(decision.outcome)) + ". " + decision.why;
  for (const summary::Yield& yield : summary.yields) {
    char share[120];
    const auto& interval = yield.last_interval;
    std::snprintf(share,
                  sizeof share,
                  "%d of %d pass (95 %%: %.1f to %.1f %%), %d with their first photograph",
                  yield.last,
                  yield.trials,
                  100 * interval.low,
                  100 * interval.high,
                  yield.first);
    text += "\n  " + yield.of + ": " + share;
  }
  return PrintableText(text.substr(0, text.find('\n'))) + "\n" +
         (text.find('\n') == std::string::npos ? "" : text.substr(text.find('\n') + 1) + "\n");
}

int CodeOf(const summary::LotSummary& summary) {
  switch (summary.decision.outcome) {
    case summary::Outcome::kAccept:
      return kAllPass;
    case summary::Outcome::kReject:
      return kSomeFail;
    case summary::Outcome::kOpen:
      break;
  }
  return kSomeUngradable;
}

// Report, spreadsheet and the lines on stdout; the exit code.
int Present(const lot::Settings& settings,
            const store::Store& store,
            const std::vector<lot::LeftOut>& left_out,
            const fs::path& folder) {
  const auto cords = summary::GatherCords(store, settings);
  if (!cords.ok()) {
    PrintErrorLine(cords.error().Text());
    return kBadInput;
  }
  const auto summary = summary::Summarise(*cords, settings);
  const auto html = report::LotReport(store, settings, *cords, summary, left_out);
  std::optional<Error> error = html.ok() ? std::nullopt : std::optional(html.error());
  if (!error) error = WriteFileSafely(folder / "report.html", *html);
  if (!error) error = WriteFileSafely(folder / "faces.csv", report::FacesCsv(*cords));
  if (error) {
    PrintErrorLine(error->Text());
    return kBadInput;
  }
  Print(DecisionWords(summary));
  Print("Report: " + PrintableText((folder / "report.html").string()) + "\n");
  return CodeOf(summary);
}

// Grades what arrives until Ctrl-C, or until nothing arrived for a while.
LotRun Watch(const LotVerb& verb,
             const lot::Settings& settings,
             const lot::RunOptions& options,
             store::Store& store,
             const std::function<bool()>& stop) {
  auto folder = lot::FolderWatch::Open(settings.photographs);
  if (!folder.ok()) {
    PrintErrorLine(folder.error().Text());
    LotRun run;
    run.failed = true;
    return run;
  }
  using Clock = std::chrono::steady_clock;
  auto last_news = Clock::now();
  LotRun run = RunOnce(settings, options, store, true, stop);
  lot::RunCount total = run.count;
  lot::RunOptions later = options;
  later.retry = false;  // a second time would be a second later
  while (!run.failed && !stop()) {
    // Files settle without further news: look again now and then, once news have come.
    const auto news = folder->Wait(std::chrono::milliseconds(1000), stop);
    if (news == lot::FolderWatch::News::kStopped) break;
    if (news == lot::FolderWatch::News::kChanged) last_news = Clock::now();
    run = RunOnce(settings, later, store, true, stop);
    if (run.count.graded > 0) last_news = Clock::now();
    total.graded += run.count.graded;
    total.unreadable += run.count.unreadable;
    const auto idle = std::chrono::duration<double>(Clock::now() - last_news).count();
    if (verb.watch_idle_s > 0 && idle >= verb.watch_idle_s) break;
  }
  total.known = run.count.known >= total.graded ? run.count.known - total.graded : 0;
  run.count = total;
  return run;
}

std::string StartedWords(const LotVerb& verb, const lot::Shard& shard) {
  std::string text = "started: threads " + std::to_string(ThreadsOf(verb.lot));
  if (shard.count > 1) {
    text += ", part " + std::to_string(shard.index) + " of " + std::to_string(shard.count);
  }
  return text;
}

// Stopped by Ctrl-C: what is graded is in the store; the next run goes on.
int Stopped(const InterruptGuard& guard, const store::Store& store) {
  PrintErrorLine("stopped; " + std::to_string(store.Count()) + " photographs are in " +
                 store.path().string() + ". The same command goes on from there.");
  guard.EndBySignal();
  return kBadInput;
}

int RunVerb(const LotVerb& verb) {
  PreparePictureMemory();
  cv::setNumThreads(1);  // pictures run in parallel, not the parts of one
  const auto settings = SettingsFrom(verb.lot);
  const auto shard = ShardFrom(verb.lot.shard);
  if (!settings || !shard) return kBadInput;
  const auto folder = ResultsFolder(verb.lot, *settings);
  if (!folder) return kBadInput;
  auto opened = store::Store::OpenToAppend(*folder / StoreName(*shard));
  if (!opened.ok()) {
    PrintErrorLine(opened.error().Text());
    return kBadInput;
  }
  store::Store store = std::move(*opened);
  const InterruptGuard guard;
  const auto stop = [&] { return guard.Interrupted(); };
  if (auto error = store.LogRun(StartedWords(verb, *shard))) {
    PrintErrorLine(error->Text());
    return kBadInput;
  }
  const lot::RunOptions options{ThreadsOf(verb.lot), *shard};
  const LotRun run = verb.watch ? Watch(verb, *settings, options, store, stop)
                                : RunOnce(*settings, options, store, false, stop);
  if (run.failed) return kBadInput;
  std::optional<Error> error = store.LogRun(run.count.stopped ? "stopped" : "ended");
  if (!error) error = store.Finish();
  if (error) {
    PrintErrorLine(error->Text());
    return kBadInput;
  }
  if (run.count.stopped) return Stopped(guard, store);
  Print(RunWords(run.count));
  if (shard->count > 1) {
    Print("Store: " + PrintableText(store.path().string()) +
          "\nWhen all parts are graded: endgrade store merge, then endgrade lot once more.\n");
    return kAllPass;
  }
  const int code = Present(*settings, store, run.intake.left_out, *folder);
  const bool had_problems =
      run.unlisted || !run.intake.left_out.empty() || run.count.unreadable > 0;
  return had_problems && code != kSomeFail ? static_cast<int>(kBadInput) : code;
}

}  // namespace

void AddLot(CLI::App& app, int* exit_code) {
  auto arguments = std::make_shared<LotVerb>();
  CLI::App* verb = app.add_subcommand("lot", "Grade a lot of patch cords, decide on it, report");
  AddLotOptions(*verb, &arguments->lot);
  CLI::Option* watch =
      verb->add_flag("--watch", arguments->watch, "Also grade what arrives, until Ctrl-C");
  verb->add_option("--watch-idle", arguments->watch_idle_s, "End when nothing came for so long")
      ->type_name("SECONDS")
      ->check(Between(3.0, 1e6))
      ->needs(watch);
  verb->add_option("--shard", arguments->lot.shard, "Only part K of N, by content")
      ->type_name("K/N")
      ->excludes(watch);
  verb->footer(
      "Example:\n"
      "  endgrade lot --limits sm-upc delivery-12/\n"
      "grades delivery-12/cord-0001-A.jpg, cord-0001-B-2.jpg (end B, second attempt) and so on,\n"
      "and leaves store, report and spreadsheet in delivery-12-graded/. A run that was broken off\n"
      "goes on where it was. A lot file (TOML) says more: limits by kind, pattern, sampling "
      "plan.\n\n"
      "Exit codes: 0 accept, 1 reject, 2 usage, or something was left out, 3 not decided yet.");
  verb->callback([arguments, exit_code] { *exit_code = RunVerb(*arguments); });
}

}  // namespace endgrade::cli

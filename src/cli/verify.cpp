#include "cli/error_line.h"
#include "cli/interrupt.h"
#include "cli/lot_progress.h"
#include "cli/picture_memory.h"
#include "cli/print.h"
#include "cli/verbs.h"
#include "evidence/key.h"
#include "present/escape.h"
#include "verify/verify_file.h"
#include "verify/verify_job.h"

#include <nlohmann/json.hpp>
#include <opencv2/core/utility.hpp>

#include <cstdio>
#include <memory>
#include <thread>

namespace endgrade::cli {
namespace fs = std::filesystem;
namespace {

struct VerifyArguments {
  std::string target;
  std::vector<std::string> photographs;
  std::string camera;
  std::string signer;
  bool no_grade = false;
  bool json = false;
  int threads = 0;
};

Result<verify::Report> VerifyAJob(const VerifyArguments& arguments) {
  verify::JobOptions options;
  options.grade = !arguments.no_grade;
  options.threads = arguments.threads > 0
                        ? arguments.threads
                        : std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
  if (!arguments.signer.empty()) {
    const auto key = evidence::ReadPublicKey(arguments.signer);
    if (!key.ok()) return key.error();
    options.signer = *key;
  }
  const InterruptGuard guard;
  LotProgress progress;
  options.progress = [&](std::size_t done, std::size_t all) {
    progress.Show(done, all);
    return !guard.Interrupted();
  };
  auto report = verify::VerifyJob(arguments.target, options);
  progress.Clear();
  guard.EndBySignal();
  return report;
}

Result<verify::Report> VerifyAFile(const VerifyArguments& arguments) {
  verify::FileOptions options;
  options.photographs.assign(arguments.photographs.begin(), arguments.photographs.end());
  options.camera = arguments.camera;
  return verify::VerifyFile(arguments.target, options);
}

int CodeOf(const verify::Report& report) {
  if (!report.problems.empty()) return kSomeFail;
  return report.differences.empty() ? kAllPass : kSomeUngradable;
}

const char* WordOf(const verify::Report& report) {
  if (!report.problems.empty()) return "changed";
  return report.differences.empty() ? "holds" : "differs";
}

void PrintJson(const std::string& target, const verify::Report& report) {
  const nlohmann::ordered_json json = {{"schema", "endgrade.verification/1"},
                                       {"target", target},
                                       {"outcome", WordOf(report)},
                                       {"problems", report.problems},
                                       {"differences", report.differences},
                                       {"notes", report.notes}};
  PrintRaw(json.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n");
}

void PrintWords(const std::string& target, const verify::Report& report) {
  for (const std::string& problem : report.problems) PrintErrorLine(target + ": " + problem + ".");
  std::string text;
  for (const std::string& difference : report.differences) text += "Differs: " + difference + ".\n";
  for (const std::string& note : report.notes) text += "- " + note + ".\n";
  const std::string name = PrintableText(target);
  if (!report.problems.empty()) {
    text += name + ": something is not as it was written, or does not hold.\n";
  } else if (!report.differences.empty()) {
    text += name + ": nothing was changed, but not every grade could be confirmed.\n";
  } else {
    text += name + ": nothing was changed, and every grade that was made again is the same.\n";
  }
  Print(text);
}

int Verify(const VerifyArguments& given) {
  VerifyArguments arguments = given;
  std::error_code ignored;
  const bool is_job = fs::is_directory(arguments.target, ignored);
  if (is_job && (!arguments.photographs.empty() || !arguments.camera.empty())) {
    throw CLI::ValidationError("--photograph and --camera are for a file; a job holds its own");
  }
  if (!is_job && !arguments.signer.empty()) {
    throw CLI::ValidationError("--signer is for a job");
  }
  PreparePictureMemory();
  cv::setNumThreads(1);  // pictures run in parallel, not the parts of one
  const auto report = is_job ? VerifyAJob(arguments) : VerifyAFile(arguments);
  if (!report.ok()) {
    PrintErrorLine(report.error().Text());
    return kBadInput;
  }
  if (arguments.json) {
    PrintJson(arguments.target, *report);
  } else {
    PrintWords(arguments.target, *report);
  }
  return CodeOf(*report);
}

}  // namespace

void AddVerify(CLI::App& app, int* exit_code) {
  auto arguments = std::make_shared<VerifyArguments>();
  CLI::App* verb =
      app.add_subcommand("verify", "Hold a job, an overlay or a report against its photographs");
  verb->add_option("PATH", arguments->target, "A job's folder, an overlay or a report")
      ->required()
      ->type_name("");
  verb->add_option("--photograph",
                   arguments->photographs,
                   "For a file: its photograph, or a folder that holds it [the recorded path]")
      ->type_name("PATH")
      ->allow_extra_args(false);
  verb->add_option("--camera", arguments->camera, "For a file: the camera profile that was used")
      ->type_name("FILE");
  verb->add_option("--signer", arguments->signer, "For a job: whose key must have signed all of it")
      ->type_name("FILE");
  verb->add_flag("--no-grade", arguments->no_grade, "For a job: only hashes, chains, signatures");
  verb->add_flag("--json", arguments->json, "One line of JSON instead of words");
  verb->add_option("--threads", arguments->threads, "Pictures graded at a time [all cores]")
      ->type_name("N")
      ->check(CLI::Range(1, 256).description(""));
  verb->footer(
      "Example:\n"
      "  endgrade verify pier-job/\n"
      "  endgrade verify --photograph port-07.jpg graded/overlays/port-07.png\n"
      "Everything is worked out anew from the photographs; nothing is written.\n\n"
      "Exit codes: 0 nothing was changed and every grade is the same; 1 something is not as it "
      "was\n"
      "written, is missing, or a signature does not hold; 2 usage, or it cannot be read; 3 "
      "nothing\n"
      "was changed, but a photograph is not there to be graded again, or gets another verdict "
      "from\n"
      "this version of the program (it says which).");
  verb->callback([arguments, exit_code] { *exit_code = Verify(*arguments); });
}

}  // namespace endgrade::cli

#include "cli/between.h"
#include "cli/camera_option.h"
#include "cli/error_line.h"
#include "cli/grade_run.h"
#include "cli/inputs.h"
#include "cli/limits_option.h"
#include "cli/picture_memory.h"
#include "cli/verbs.h"
#include "endgrade/limits.h"

#include <opencv2/core/utility.hpp>

#include <thread>

namespace endgrade::cli {
namespace {

constexpr double kPixelsPerMegapixel = 1e6;
constexpr double kBytesPerMegabyte = 1024.0 * 1024.0;

// What the command line says, before it is made into options of the library.
struct GradeArguments {
  std::vector<std::string> paths;
  std::string limits;
  std::string out;
  std::string camera;
  std::optional<double> um_per_px;
  std::optional<double> max_megapixels;
  std::optional<double> max_file_mb;
  std::string decision = "simple";
  std::string overlay = "png";
  bool json = false;
  int threads = 0;  // 0: all cores
};

Result<GradeRun> RunFrom(const GradeArguments& arguments) {
  GradeRun run;
  auto limits = FindLimits(arguments.limits);
  if (!limits.ok()) return limits.error();
  run.limits = std::move(*limits);
  auto sources = LimitsSourcesOf(run.limits.path);
  // Limits that build on a file elsewhere grade all the same; the overlay names them by their hash.
  if (sources.ok()) {
    run.limits_sources = std::move(*sources);
  } else if (sources.error().kind != ErrorKind::kBadLimits) {
    return sources.error();
  }
  run.options.scale.um_per_px = arguments.um_per_px;
  if (auto error = UseCameraFile(arguments.camera, &run.options)) return *error;
  if (arguments.max_megapixels) {
    run.options.read.max_pixels =
        static_cast<std::int64_t>(*arguments.max_megapixels * kPixelsPerMegapixel);
  }
  if (arguments.max_file_mb) {
    run.options.read.max_file_bytes =
        static_cast<std::int64_t>(*arguments.max_file_mb * kBytesPerMegabyte);
  }
  if (arguments.decision == "guarded") run.options.judge.decision = DecisionRule::kGuarded;
  if (!arguments.out.empty()) run.folder = arguments.out;
  if (arguments.overlay != "none") run.overlay_extension = "." + arguments.overlay;
  run.options.read.colour = run.folder && run.overlay_extension;
  run.json = arguments.json;
  run.threads = arguments.threads > 0
                    ? arguments.threads
                    : std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
  if (auto problem = run.options.Problem()) {
    return Error{ErrorKind::kBadOption, "", 0, *problem, ""};
  }
  return run;
}

int GradeAll(const GradeArguments& arguments) {
  RequireLimits(arguments.limits);
  auto run = RunFrom(arguments);
  if (!run.ok()) {
    PrintErrorLine(run.error().Text());
    return kBadInput;
  }
  Inputs inputs = ListInputs(arguments.paths);
  if (run->folder) {
    if (auto problem = OutputProblem(*run->folder, arguments.paths, inputs)) {
      PrintErrorLine(problem->Text());
      return kBadInput;
    }
  }
  for (const Error& problem : inputs.problems) PrintErrorLine(problem.Text());
  PreparePictureMemory();
  cv::setNumThreads(1);  // pictures run in parallel, not the parts of one
  run->pictures = std::move(inputs.pictures);
  const int exit_code = GradeAll(*run);
  return inputs.problems.empty() ? exit_code : static_cast<int>(kBadInput);
}

}  // namespace

void AddGrade(CLI::App& app, int* exit_code) {
  auto arguments = std::make_shared<GradeArguments>();
  CLI::App* verb = app.add_subcommand("grade", "Grade photographs against limits");
  verb->add_option("PATH", arguments->paths, "Pictures, or folders of pictures")
      ->required()
      ->type_name("");
  AddLimitsOption(*verb, &arguments->limits);
  verb->add_option("--um-per-px",
                   arguments->um_per_px,
                   "Micrometres per pixel, 0.01 to 10 [from the cladding]")
      ->type_name("N")
      ->check(Between(0.01, 10.0));
  AddCameraOption(*verb, &arguments->camera);
  CLI::Option* out =
      verb->add_option("--out", arguments->out, "Folder for results.ndjson and overlays/")
          ->type_name("DIR");
  verb->add_option("--overlay", arguments->overlay, "Kind of overlay picture [png]")
      ->type_name("png|jpg|none")
      ->check(CLI::IsMember({"png", "jpg", "none"}).description(""))
      ->needs(out);
  verb->add_flag("--json", arguments->json, "Print one record a line instead of words");
  verb->add_option("--decision", arguments->decision, "guarded: a marginal pass fails [simple]")
      ->type_name("simple|guarded")
      ->check(CLI::IsMember({"simple", "guarded"}).description(""));
  verb->add_option("--threads", arguments->threads, "Pictures graded at a time [all cores]")
      ->type_name("N")
      ->check(CLI::Range(1, 256).description(""));
  verb->add_option("--max-megapixels", arguments->max_megapixels, "Refuse larger pictures [100]")
      ->type_name("N")
      ->check(Between(0.001, 1000.0));
  verb->add_option("--max-file-mb", arguments->max_file_mb, "Refuse larger files [256]")
      ->type_name("N")
      ->check(Between(0.001, 4096.0));
  verb->footer(
      "Example:\n"
      "  endgrade grade --limits sm-upc --out graded photographs/\n"
      "grades every picture in photographs/ and leaves the records in graded/results.ndjson and\n"
      "the pictures with rings, outlines and reasons in graded/overlays/.\n\n"
      "Of a folder that holds over 1,000,000 pictures none is taken. While it is graded a\n"
      "picture takes up to 30 bytes of memory a pixel and 100 MB besides, for each of "
      "--threads.\n\n"
      "Nothing is written beside the input. Exit codes: 0 all pass, 1 some fail, 2 usage or\n"
      "unreadable input, 3 nothing failed but some cannot be graded.");
  verb->callback([arguments, exit_code] { *exit_code = GradeAll(*arguments); });
}

}  // namespace endgrade::cli

#include "endgrade/compare.h"

#include "cli/between.h"
#include "cli/camera_option.h"
#include "cli/error_line.h"
#include "cli/inputs.h"
#include "cli/limits_option.h"
#include "cli/picture_memory.h"
#include "cli/print.h"
#include "cli/verbs.h"
#include "compare_page/comparison_json.h"
#include "compare_page/comparison_words.h"
#include "compare_page/page.h"
#include "compare_page/pictures.h"
#include "endgrade/advice.h"
#include "endgrade/present.h"
#include "evidence/evidence.h"
#include "limits/sources.h"

#include <cstdio>
#include <memory>
#include <new>

namespace endgrade::cli {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t kMostAttempts = 12;  // all are in memory at once

struct CompareArguments {
  std::vector<std::string> pictures;
  std::string limits;
  std::string camera;
  std::string advice;
  std::string out;
  std::optional<double> um_per_px;
  bool json = false;
};

std::optional<Error> FolderProblem(const CompareArguments& arguments) {
  if (arguments.out.empty()) return std::nullopt;
  Inputs inputs;
  for (const std::string& picture : arguments.pictures) inputs.pictures.emplace_back(picture);
  if (auto problem = OutputProblem(arguments.out, arguments.pictures, inputs)) return problem;
  std::error_code failed;
  fs::create_directories(arguments.out, failed);
  if (!failed) return std::nullopt;
  return Error{ErrorKind::kWriteFailed,
               arguments.out,
               0,
               "cannot be written: " + failed.message(),
               "Name a folder for --out that can be written"};
}

Result<std::vector<Frame>> ReadFrames(const CompareArguments& arguments,
                                      const ReadOptions& options) {
  std::vector<Frame> frames;
  for (const std::string& picture : arguments.pictures) {
    auto frame = ReadFrame(picture, options);
    if (!frame.ok()) return frame.error();
    for (const Frame& earlier : frames) {
      if (earlier.sha256 != frame->sha256) continue;
      // It would count as a cleaning that changed nothing.
      return Error{ErrorKind::kBadOption,
                   picture,
                   0,
                   "is the same photograph as " + earlier.path.string(),
                   "Name each photograph once, in the order they were taken"};
    }
    frames.push_back(*std::move(frame));
  }
  return frames;
}

// What page and pictures carry: the record of each photograph, and that of the comparison.
evidence::EvidenceList CarriedBy(const compare_page::Compared& compared,
                                 const GradeOptions& options) {
  evidence::EvidenceList list;
  const auto sources = LimitsSourcesOf(compared.limits.path);
  for (const Attempt& attempt : compared.attempts) {
    Grade untimed = attempt.grade;  // the same photographs give the same bytes
    untimed.times = {};
    list.evidence.push_back(
        evidence::EvidenceJson({RecordJson(attempt.frame, compared.limits, untimed),
                                evidence::SettingsOf(options),
                                sources.ok() ? *sources : std::vector<LimitsSource>{}}));
  }
  list.comparison = compare_page::ComparisonJson(compared);
  return list;
}

std::optional<Error> WriteAll(const CompareArguments& arguments,
                              const compare_page::Compared& compared,
                              const GradeOptions& options) {
  const fs::path folder = arguments.out;
  evidence::EvidenceList carried = CarriedBy(compared, options);
  const auto page = compare_page::ComparisonPage(compared, evidence::EvidenceListJson(carried));
  if (!page.ok()) return page.error();
  if (auto error = WriteFileSafely(folder / "comparison.html", *page)) return error;
  carried.drawn = "side-by-side";
  const cv::Mat both = compare_page::DrawSideBySide(compared);
  if (auto error =
          WritePicture(folder / "side-by-side.png", both, evidence::EvidenceListJson(carried))) {
    return error;
  }
  if (const auto difference = compare_page::DrawDifference(compared)) {
    carried.drawn = "difference";
    if (auto error = WritePicture(
            folder / "difference.png", *difference, evidence::EvidenceListJson(carried))) {
      return error;
    }
  } else {
    std::error_code ignored;  // an older one would be of other photographs
    fs::remove(folder / "difference.png", ignored);
  }
  return WriteFileSafely(folder / "comparison.json", carried.comparison + "\n");
}

Result<int> Compare(const CompareArguments& arguments) {
  const auto limits = FindLimits(arguments.limits);
  if (!limits.ok()) return limits.error();
  const auto table = arguments.advice.empty() ? FindAdvice() : ReadAdvice(arguments.advice);
  if (!table.ok()) return table.error();
  GradeOptions options;
  options.read.colour = !arguments.out.empty();
  options.scale.um_per_px = arguments.um_per_px;
  if (auto error = UseCameraFile(arguments.camera, &options)) return *error;
  if (auto problem = FolderProblem(arguments)) return *problem;
  const auto frames = ReadFrames(arguments, options.read);
  if (!frames.ok()) return frames.error();
  const auto result = CompareFrames(*frames, *limits, options);
  if (!result.ok()) return result.error();
  std::vector<Attempt> attempts;
  for (std::size_t i = 0; i < frames->size(); ++i) {
    attempts.push_back({(*frames)[i], result->grades[i], result->workings[i]});
  }
  const auto compared = compare_page::Conclude(attempts, *limits, result->comparison, *table);
  if (!arguments.out.empty()) {
    if (auto error = WriteAll(arguments, compared, options)) return *error;
  }
  if (arguments.json) {
    PrintRaw(compare_page::ComparisonJson(compared) + "\n");
  } else {
    Print(compare_page::ComparisonText(compared));
  }
  return CodeOf(result->grades.back().verdict);
}

// What a library throws about a picture becomes an error.
int CompareSafely(const CompareArguments& arguments) {
  RequireLimits(arguments.limits);
  if (arguments.pictures.size() < 2 || arguments.pictures.size() > kMostAttempts) {
    throw CLI::ValidationError("BEFORE AFTER",
                               "name two to " + std::to_string(kMostAttempts) +
                                   " photographs of one face, in the order they were taken");
  }
  PreparePictureMemory();
  std::optional<Error> error;
  try {
    const auto code = Compare(arguments);
    if (code.ok()) return *code;
    error = code.error();
  } catch (const std::bad_alloc&) {
    error = {ErrorKind::kOutOfMemory, "", 0, "not enough memory", "Compare fewer photographs"};
  } catch (const cv::Exception& e) {
    error = {ErrorKind::kInternal, "", 0, "a library beneath us refused: " + e.err, ""};
  }
  PrintErrorLine(error->Text());
  return kBadInput;
}

}  // namespace

void AddCompare(CLI::App& app, int* exit_code) {
  auto arguments = std::make_shared<CompareArguments>();
  CLI::App* verb =
      app.add_subcommand("compare", "Show what a cleaning removed, left and added on one face");
  verb->add_option("BEFORE AFTER", arguments->pictures, "Photographs of one face, oldest first")
      ->required()
      ->type_name("[MORE...]");
  AddLimitsOption(*verb, &arguments->limits);
  verb->add_option("--um-per-px", arguments->um_per_px, "Micrometres per pixel, 0.01 to 10")
      ->type_name("N")
      ->check(Between(0.01, 10.0));
  AddCameraOption(*verb, &arguments->camera);
  verb->add_option("--advice", arguments->advice, "What to do next, a file of your own [shipped]")
      ->type_name("FILE");
  verb->add_option("--out", arguments->out, "Folder for the page, the pictures and the record")
      ->type_name("DIR");
  verb->add_flag("--json", arguments->json, "Print the record instead of words");
  verb->footer(
      "Example:\n"
      "  endgrade compare --limits sm-upc --out cleaned port-07-before.jpg port-07-after.jpg\n"
      "lays the photographs on each other, whatever the light, the focus, the camera and the way\n"
      "the face was turned, says what is gone, still there, moved or smeared, and new, and what\n"
      "to do next, and leaves cleaned/comparison.html with both pictures under a slider,\n"
      "side-by-side.png, difference.png and comparison.json; page and pictures carry their "
      "records\n"
      "inside for 'endgrade verify'. Where it cannot be known how the face was turned it says so,\n"
      "and compares by distance from the centre, size and kind.\n\n"
      "More than two photographs are a series, one cleaning between each. Exit codes as those of\n"
      "'grade', for the last photograph.");
  verb->callback([arguments, exit_code] { *exit_code = CompareSafely(*arguments); });
}

}  // namespace endgrade::cli

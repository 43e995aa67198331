#include "endgrade/explain.h"

#include "cli/between.h"
#include "cli/camera_option.h"
#include "cli/error_line.h"
#include "cli/inputs.h"
#include "cli/limits_option.h"
#include "cli/overlay_names.h"
#include "cli/print.h"
#include "cli/verbs.h"
#include "endgrade/present.h"
#include "present/escape.h"

#include <cstdio>
#include <memory>
#include <new>

namespace endgrade::cli {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t kMostSheets = 12;  // without --feature: more would not be read

struct ExplainArguments {
  std::string picture;
  std::string limits;
  std::string out;
  std::string camera;
  std::optional<int> feature;
  std::optional<double> um_per_px;
};

std::string Indented(const std::string& lines) {
  std::string text = "  ";
  for (std::size_t i = 0; i < lines.size(); ++i) {
    text += lines[i];
    if (lines[i] == '\n' && i + 1 < lines.size()) text += "  ";
  }
  return text;
}

std::string FeatureHead(const GradedPicture& picture, int id) {
  for (const Feature& feature : picture.grade.fibres.front().features) {
    if (feature.id != id) continue;
    const std::string kind = feature.kind == FeatureKind::kScratch ? "scratch" : "defect";
    return "\nFeature " + std::to_string(id) + ", " + kind + ", at pixel " +
           std::to_string(cvRound(feature.centre_px.x)) + ", " +
           std::to_string(cvRound(feature.centre_px.y)) +
           (feature.breaks.empty() ? ": allowed\n" : ": breaks a rule\n");
  }
  return "";
}

std::optional<Error> Write(const ExplainArguments& arguments,
                           const std::string& ending,
                           const cv::Mat& sheet) {
  const std::string stem = OverlayNames({arguments.picture}, "").front();
  return WritePicture(fs::path(arguments.out) / (stem + "-" + ending + ".png"), sheet);
}

// "feature-03": sorts by number.
std::string FeatureEnding(int id) {
  const std::string number = std::to_string(id);
  return "feature-" + (number.size() < 2 ? "0" + number : number);
}

std::optional<Error> ExplainOne(const ExplainArguments& arguments,
                                const GradedPicture& picture,
                                int id) {
  const auto evidence = FindEvidence(picture, id);
  if (!evidence.ok()) return evidence.error();
  Print(FeatureHead(picture, id) + Indented(ExplainFeature(picture, *evidence)));
  if (arguments.out.empty()) return std::nullopt;
  return Write(arguments, FeatureEnding(id), DrawFeatureSheet(picture, *evidence));
}

std::optional<Error> ExplainWhole(const ExplainArguments& arguments, const GradedPicture& picture) {
  Print(PrintableText(arguments.picture) + "\n" + Indented(ExplainFace(picture)));
  std::vector<int> ids = FeaturesWorthExplaining(picture);
  const std::size_t left_out = ids.size() > kMostSheets ? ids.size() - kMostSheets : 0;
  ids.resize(ids.size() - left_out);
  for (const int id : ids) {
    if (auto error = ExplainOne(arguments, picture, id)) return error;
  }
  if (left_out > 0) {
    Print("\n" + std::to_string(left_out) +
          " more break a rule; --feature N explains any one of them.\n");
  }
  if (arguments.out.empty()) return std::nullopt;
  return Write(arguments, "face", DrawFaceSheet(picture));
}

std::optional<Error> FolderProblem(const ExplainArguments& arguments) {
  if (arguments.out.empty()) return std::nullopt;
  Inputs inputs;
  inputs.pictures = {arguments.picture};
  if (auto problem = OutputProblem(arguments.out, {arguments.picture}, inputs)) return problem;
  std::error_code failed;
  fs::create_directories(arguments.out, failed);
  if (!failed) return std::nullopt;
  return Error{ErrorKind::kWriteFailed,
               arguments.out,
               0,
               "cannot be written: " + failed.message(),
               "Name a folder for --out that can be written"};
}

Result<int> Explain(const ExplainArguments& arguments) {
  const auto limits = FindLimits(arguments.limits);
  if (!limits.ok()) return limits.error();
  GradeOptions options;
  options.read.colour = true;
  options.scale.um_per_px = arguments.um_per_px;
  if (auto error = UseCameraFile(arguments.camera, &options)) return *error;
  if (auto problem = FolderProblem(arguments)) return *problem;
  const auto frame = ReadFrame(arguments.picture, options.read);
  if (!frame.ok()) return frame.error();
  Workings workings;
  const auto grade = GradeFrame(*frame, *limits, options, &workings);
  if (!grade.ok()) return grade.error();
  const GradedPicture picture{*frame, *limits, options, *grade, workings};
  const auto error = arguments.feature ? ExplainOne(arguments, picture, *arguments.feature)
                                       : ExplainWhole(arguments, picture);
  if (error) return *error;
  return CodeOf(grade->verdict);
}

// What a library throws about the picture becomes its error.
int ExplainSafely(const ExplainArguments& arguments) {
  RequireLimits(arguments.limits);
  std::optional<Error> error;
  try {
    const auto code = Explain(arguments);
    if (code.ok()) return *code;
    error = code.error();
  } catch (const std::bad_alloc&) {
    error = {ErrorKind::kOutOfMemory, "", 0, "not enough memory", "Use a smaller picture"};
  } catch (const cv::Exception& e) {
    error = {ErrorKind::kInternal, "", 0, "a library beneath us refused: " + e.err, ""};
  }
  if (error->file.empty()) error->file = arguments.picture;
  PrintErrorLine(error->Text());
  return kBadInput;
}

}  // namespace

void AddExplain(CLI::App& app, int* exit_code) {
  auto arguments = std::make_shared<ExplainArguments>();
  CLI::App* verb = app.add_subcommand("explain", "Show why each feature was found and judged so");
  verb->add_option("IMAGE", arguments->picture, "A picture")->required()->type_name("");
  AddLimitsOption(*verb, &arguments->limits);
  verb->add_option("--feature", arguments->feature, "Its number in the overlay and the record")
      ->type_name("N")
      ->check(CLI::Range(1, 1000000).description(""));
  verb->add_option("--um-per-px", arguments->um_per_px, "Micrometres per pixel, 0.01 to 10")
      ->type_name("N")
      ->check(Between(0.01, 10.0));
  AddCameraOption(*verb, &arguments->camera);
  verb->add_option("--out", arguments->out, "Folder for the sheets, PNG")->type_name("DIR");
  verb->footer(
      "Example:\n"
      "  endgrade explain --limits sm-upc --out why port-07.jpg\n"
      "says what breaks a rule and why, or else of what the largest features are made, and leaves\n"
      "why/port-07-face.png and a sheet a feature, why/port-07-feature-03.png: the photograph, "
      "the\n"
      "flattened picture, the noise, the response, the profile across it, the rule and its "
      "margin.\n\n"
      "Exit codes as those of 'grade', for this one picture.");
  verb->callback([arguments, exit_code] { *exit_code = ExplainSafely(*arguments); });
}

}  // namespace endgrade::cli

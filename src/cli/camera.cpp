#include "endgrade/camera.h"

#include "cli/between.h"
#include "cli/error_line.h"
#include "cli/inputs.h"
#include "cli/print.h"
#include "cli/run_in_order.h"
#include "cli/verbs.h"
#include "endgrade/present.h"
#include "endgrade/read.h"
#include "present/escape.h"

#include <opencv2/core/utility.hpp>

#include <algorithm>
#include <cstdio>
#include <memory>
#include <new>
#include <thread>

namespace endgrade::cli {
namespace {

namespace fs = std::filesystem;

struct TargetArguments {
  std::string picture;
  std::optional<double> pitch_um;
  std::optional<double> pitch_uncertainty_um;
};

struct LearnArguments {
  std::vector<std::string> paths;
  std::string limits = "sm-upc";
  std::string out;
  std::string id;
  TargetArguments target;
  int threads = 0;  // 0: all cores
};

TargetOptions OptionsOf(const TargetArguments& arguments) {
  TargetOptions options;
  options.pitch_um = *arguments.pitch_um;
  if (arguments.pitch_uncertainty_um) {
    options.pitch_relative_uncertainty = *arguments.pitch_uncertainty_um / options.pitch_um;
  }
  return options;
}

Result<ScaleTarget> ReadTarget(const TargetArguments& arguments) {
  const auto frame = ReadFrame(arguments.picture);
  if (!frame.ok()) return frame.error();
  return MeasureTarget(*frame, OptionsOf(arguments));
}

std::string TargetWords(const ScaleTarget& target) {
  char text[600];
  std::snprintf(
      text,
      sizeof text,
      "1 pixel is %.6f um +/- %.6f um (k = 2), %s\n"
      "lines' normal at %.2f degrees, %.0f lines in view, each within %.2f um (rms) of an "
      "even pitch\n",
      target.um_per_px.value,
      target.um_per_px.uncertainty,
      target.both_axes ? "mean of both axes of the grid" : "across the lines",
      target.normal_deg,
      target.num_periods,
      target.residual_um);
  std::string words = text;
  if (target.both_axes) {
    std::snprintf(text,
                  sizeof text,
                  "pixels %.5f +/- %.5f as high as wide\n",
                  target.pixel_aspect.value,
                  target.pixel_aspect.uncertainty);
    words += text;
  }
  return words;
}

int Target(const TargetArguments& arguments) {
  const auto target = ReadTarget(arguments);
  if (!target.ok()) {
    PrintErrorLine(target.error().Text());
    return kBadInput;
  }
  Print(PrintableText(arguments.picture) + ":\n" + TargetWords(*target));
  return kAllPass;
}

Result<CameraSample> SampleOf(const fs::path& picture, const Limits& limits) {
  try {
    const auto frame = ReadFrame(picture);
    if (!frame.ok()) return frame.error();
    return SampleForCamera(*frame, limits);
  } catch (const std::bad_alloc&) {
    return Error{
        ErrorKind::kOutOfMemory, picture.string(), 0, "not enough memory", "Lower --threads"};
  } catch (const cv::Exception& e) {
    return Error{
        ErrorKind::kInternal, picture.string(), 0, "a library beneath us refused: " + e.err, ""};
  }
}

// What can be sampled; problems of the others go to stderr, a line each.
std::vector<CameraSample> Samples(const LearnArguments& arguments,
                                  const Limits& limits,
                                  bool* any_problem) {
  const Inputs inputs = ListInputs(arguments.paths);
  for (const Error& problem : inputs.problems) PrintErrorLine(problem.Text());
  *any_problem = !inputs.problems.empty();
  std::vector<CameraSample> samples;
  const int cores = std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
  cv::setNumThreads(1);
  RunInOrder<Result<CameraSample>>(
      inputs.pictures.size(),
      arguments.threads > 0 ? arguments.threads : cores,
      [&](std::size_t i) { return SampleOf(inputs.pictures[i], limits); },
      [&](std::size_t, Result<CameraSample> sample) {
        if (sample.ok()) {
          samples.push_back(*std::move(sample));
        } else {
          PrintErrorLine(sample.error().Text());
          *any_problem = true;
        }
        return true;
      });
  return samples;
}

// The file's own name as an ID: lower-case letters, digits, hyphens.
std::string IdOf(const LearnArguments& arguments) {
  if (!arguments.id.empty()) return arguments.id;
  std::string id;
  for (const char c : fs::path(arguments.out).stem().string()) {
    const bool letter = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
    const bool capital = c >= 'A' && c <= 'Z';
    if (letter || capital) {
      id += capital ? static_cast<char>(c - 'A' + 'a') : c;
    } else if (!id.empty() && id.back() != '-') {
      id += '-';
    }
  }
  while (!id.empty() && id.back() == '-') id.pop_back();
  return id.empty() ? "camera" : id.substr(0, 64);
}

Result<bool> LearnAndWrite(const LearnArguments& arguments) {
  const auto limits = FindLimits(arguments.limits);
  if (!limits.ok()) return limits.error();
  std::optional<ScaleTarget> target;
  if (!arguments.target.picture.empty()) {
    auto measured = ReadTarget(arguments.target);
    if (!measured.ok()) return measured.error();
    target = *measured;
  }
  bool any_problem = false;
  const auto samples = Samples(arguments, *limits, &any_problem);
  const auto learnt = LearnCamera(samples, IdOf(arguments), target);
  if (!learnt.ok()) return learnt.error();
  const std::string toml = CameraProfileToml(learnt->profile);
  std::string notes;
  for (const std::string& note : learnt->notes) notes += PrintableText(note) + "\n";
  if (arguments.out.empty()) {
    PrintRaw(toml);
    std::fputs(notes.c_str(), stderr);
    return any_problem;
  }
  if (auto error = WriteFileSafely(arguments.out, toml)) return *error;
  Print(notes + "Written to " + PrintableText(arguments.out) + "\n");
  return any_problem;
}

int Learn(const LearnArguments& arguments) {
  const auto done = LearnAndWrite(arguments);
  if (done.ok()) return *done ? kBadInput : kAllPass;
  PrintErrorLine(done.error().Text());
  return kBadInput;
}

void AddPitch(CLI::App& verb, TargetArguments* arguments, CLI::Option* needs) {
  CLI::Option* pitch =
      verb.add_option("--pitch-um", arguments->pitch_um, "From line to line, 0.5 to 1000")
          ->type_name("P")
          ->check(Between(0.5, 1000.0));
  verb.add_option("--pitch-uncertainty-um",
                  arguments->pitch_uncertainty_um,
                  "Of the pitch, expanded (k = 2) [0.2 %]")
      ->type_name("U")
      ->check(Between(0.0, 100.0))
      ->needs(pitch);
  if (needs) {
    needs->needs(pitch);
    pitch->needs(needs);
  } else {
    pitch->required();
  }
}

void AddLearn(CLI::App& camera, int* exit_code) {
  auto arguments = std::make_shared<LearnArguments>();
  CLI::App* verb = camera.add_subcommand("learn", "Learn a camera from several of its photographs");
  verb->add_option("PATH", arguments->paths, "Pictures, or folders of pictures")
      ->required()
      ->type_name("");
  verb->add_option("--out", arguments->out, "The profile's file [standard output]")
      ->type_name("FILE.toml");
  verb->add_option("--id", arguments->id, "The camera's name [the file's]")
      ->type_name("ID")
      ->check([](const std::string& id) {
        const bool good =
            !id.empty() && id.size() <= 64 &&
            id.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-") == std::string::npos;
        return good ? std::string() : "lower-case letters, digits and hyphens, at most 64";
      });
  verb->add_option("--limits", arguments->limits, "Limits with the cladding's size [sm-upc]")
      ->type_name("ID|FILE");
  CLI::Option* target =
      verb->add_option(
              "--target", arguments->target.picture, "Lines of known pitch set the scale instead")
          ->type_name("IMAGE");
  AddPitch(*verb, &arguments->target, target);
  verb->add_option("--threads", arguments->threads, "Pictures read at a time [all cores]")
      ->type_name("N")
      ->check(CLI::Range(1, 256).description(""));
  verb->footer(
      "Example:\n"
      "  endgrade camera learn --out bench-scope.toml learning/\n"
      "learns scale, pixel shape, even field, noise, blur and the dirt on the optics from the\n"
      "pictures in learning/; then: endgrade grade --camera bench-scope.toml --limits sm-upc "
      "...\n\n"
      "Take six and more pictures in focus at one magnification, of several fibres if you can, "
      "with\n"
      "the fibre at another place in the view each time: what stays where it is, is the camera's.\n"
      "Check for optical power before you look at an end face.");
  verb->callback([arguments, exit_code] { *exit_code = Learn(*arguments); });
}

void AddTarget(CLI::App& camera, int* exit_code) {
  auto arguments = std::make_shared<TargetArguments>();
  CLI::App* verb = camera.add_subcommand("target", "Measure the scale on lines of known pitch");
  verb->add_option("IMAGE", arguments->picture, "Evenly spaced lines, or a grid of them")
      ->required()
      ->type_name("");
  AddPitch(*verb, arguments.get(), nullptr);
  verb->footer(
      "Example:\n"
      "  endgrade camera target --pitch-um 10 stage-micrometer.png\n"
      "prints the micrometres of a pixel with their uncertainty; a grid tells both axes. The "
      "lines\n"
      "fill the view, five and more of them, in focus.");
  verb->callback([arguments, exit_code] { *exit_code = Target(*arguments); });
}

}  // namespace

void AddCamera(CLI::App& app, int* exit_code) {
  CLI::App* camera = app.add_subcommand("camera", "Learn what is a camera's own, and its scale");
  camera->require_subcommand(1);
  camera->footer(
      "Example:\n"
      "  endgrade camera learn --out bench-scope.toml learning/\n"
      "  endgrade camera target --pitch-um 10 stage-micrometer.png");
  AddLearn(*camera, exit_code);
  AddTarget(*camera, exit_code);
}

}  // namespace endgrade::cli

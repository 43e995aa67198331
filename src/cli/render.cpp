#include "endgrade/render.h"

#include "cli/error_line.h"
#include "cli/run_in_order.h"
#include "cli/verbs.h"
#include "endgrade/present.h"

#include <opencv2/core/utility.hpp>

#include <cstdio>
#include <memory>
#include <new>
#include <thread>

namespace endgrade::cli {
namespace {

namespace fs = std::filesystem;

struct RenderArguments {
  std::uint64_t seed = 1;
  int count = 1;
  std::string scene;
  RandomSceneOptions random;
  std::string out;
  bool pair = false;
  int threads = 0;  // 0: all cores
};

// "render-000017" of its seed, or the scene file's own name.
std::string NameOf(const RenderArguments& arguments, std::uint64_t seed) {
  if (!arguments.scene.empty()) {
    const fs::path name = fs::path(arguments.scene).stem();
    return name.extension() == ".truth" ? name.stem().string() : name.string();
  }
  char name[40];
  std::snprintf(name, sizeof name, "render-%06llu", static_cast<unsigned long long>(seed));
  return name;
}

Result<SceneDescription> SceneOf(const RenderArguments& arguments, std::uint64_t seed) {
  if (arguments.scene.empty()) return RandomScene(seed, arguments.random);
  return ReadScene(arguments.scene);
}

// Picture and truth of a scene, under `stem` with their endings.
std::optional<Error> RenderTo(const std::string& stem, const SceneDescription& scene) {
  const auto rendered = RenderScene(scene);
  if (!rendered.ok()) return rendered.error();
  const auto bytes = EncodePicture(*rendered);
  if (!bytes.ok()) return bytes.error();
  if (auto error = WriteFileSafely(stem + PictureExtension(scene), *bytes)) return error;
  return WriteFileSafely(stem + ".truth.json", TruthJson(scene, rendered->truth));
}

std::optional<Error> RenderPair(const std::string& stem,
                                std::uint64_t seed,
                                const RandomSceneOptions& options) {
  const auto pair = RandomPair(seed, options);
  if (!pair.ok()) return pair.error();
  if (auto error = RenderTo(stem + "-before", pair->before)) return error;
  if (auto error = RenderTo(stem + "-after", pair->after)) return error;
  return WriteFileSafely(stem + ".pair.json", PairJson(*pair));
}

std::optional<Error> RenderOne(const RenderArguments& arguments, std::uint64_t seed) {
  const std::string stem = (fs::path(arguments.out) / NameOf(arguments, seed)).string();
  if (arguments.pair) return RenderPair(stem, seed, arguments.random);
  const auto scene = SceneOf(arguments, seed);
  if (!scene.ok()) return scene.error();
  return RenderTo(stem, *scene);
}

// Pictures are drawn one a thread; a library that gives up on one of them becomes its error.
std::optional<Error> RenderSafely(const RenderArguments& arguments, std::uint64_t seed) {
  const std::string name = NameOf(arguments, seed);
  try {
    return RenderOne(arguments, seed);
  } catch (const std::bad_alloc&) {
    return Error{ErrorKind::kOutOfMemory,
                 name,
                 0,
                 "not enough memory to render this scene",
                 "Use a smaller picture"};
  } catch (const cv::Exception& e) {
    return Error{ErrorKind::kInternal, name, 0, "the picture library refused: " + e.err, ""};
  }
}

int Render(const RenderArguments& arguments) {
  std::error_code failed;
  fs::create_directories(arguments.out, failed);
  if (failed) {
    PrintErrorLine(Error{ErrorKind::kWriteFailed,
                         arguments.out,
                         0,
                         "the folder cannot be made: " + failed.message(),
                         ""}
                       .Text());
    return kBadInput;
  }
  const auto count = static_cast<std::size_t>(arguments.scene.empty() ? arguments.count : 1);
  const int cores = std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
  if (count > 1) cv::setNumThreads(1);
  int exit_code = kAllPass;
  RunInOrder<std::optional<Error>>(
      count,
      arguments.threads > 0 ? arguments.threads : cores,
      [&](std::size_t i) { return RenderSafely(arguments, arguments.seed + i); },
      [&](std::size_t, std::optional<Error> error) {
        if (!error) return true;
        PrintErrorLine(error->Text());
        exit_code = kBadInput;
        return true;
      });
  return exit_code;
}

std::string Joined(const std::vector<std::string>& names) {
  std::string text;
  for (const std::string& name : names) text += (text.empty() ? "" : "|") + name;
  return text;
}

}  // namespace

void AddRender(CLI::App& app, int* exit_code) {
  auto arguments = std::make_shared<RenderArguments>();
  CLI::App* verb = app.add_subcommand("render", "Draw end-face photographs whose truth is known");
  verb->add_option("--out", arguments->out, "Folder for pictures and truth files")
      ->type_name("DIR")
      ->required();
  CLI::Option* seed = verb->add_option("--seed", arguments->seed, "First seed [1]");
  CLI::Option* count = verb->add_option("--count", arguments->count, "Scenes, seeds in turn [1]")
                           ->check(CLI::Range(1, 1000000));
  CLI::Option* preset =
      verb->add_option("--preset", arguments->random.preset, "Sort of scene [any]")
          ->type_name(Joined(PresetNames()));
  CLI::Option* camera =
      verb->add_option("--camera", arguments->random.camera, "One of the invented cameras [any]")
          ->type_name(Joined(CameraNames()));
  CLI::Option* limits =
      verb->add_option("--limits", arguments->random.limits_id, "Table of the verdict [any]")
          ->type_name("ID");
  CLI::Option* pair = verb->add_flag(
      "--pair", arguments->pair, "Each face twice, before and after a cleaning, and what it did");
  verb->add_option("--scene", arguments->scene, "A scene of your own, or a truth file, instead")
      ->type_name("FILE.toml|json")
      ->excludes(seed)
      ->excludes(count)
      ->excludes(preset)
      ->excludes(camera)
      ->excludes(limits)
      ->excludes(pair);
  verb->add_option("--threads", arguments->threads, "Pictures drawn at a time [all cores]")
      ->type_name("N")
      ->check(CLI::Range(1, 256));
  verb->footer(
      "Example:\n"
      "  endgrade render --seed 1 --count 30 --preset typical --out rendered\n"
      "writes rendered/render-000001.jpg and so on, each with a .truth.json: geometry, features,\n"
      "their visibility, and the verdict. The same seed gives the same bytes.\n\n"
      "These pictures are drawn, not taken: never present one as a photograph of a real face.");
  verb->callback([arguments, exit_code] { *exit_code = Render(*arguments); });
}

}  // namespace endgrade::cli

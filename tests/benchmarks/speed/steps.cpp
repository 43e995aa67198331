// Time and peak memory of every step on JPEG files, and the decode floor beside them.
//
//   bench_speed_steps --limits ID PICTURE.jpg... [--benchmark_...]
//
// Benchmarks are called "<picture>/<step>"; their counter peak_mb is the step's own peak memory.
#include "endgrade/grade_image.h"
#include "tests/benchmarks/speed/jpeg_floor.h"
#include "tests/benchmarks/speed/peak_memory.h"

#include <benchmark/benchmark.h>
#include <opencv2/core.hpp>

#include <cstdio>
#include <fstream>
#include <iterator>
#include <malloc.h>
#include <memory>
#include <vector>

namespace endgrade::bench {
namespace {

// A picture and what every step makes of it: each step is timed on what the one before it left.
struct Chain {
  std::filesystem::path path;
  std::string bytes;
  Limits limits;
  GradeOptions options;
  Frame frame;
  FibreGeometry fibre;
  Scale scale;
  ZoneMap zones;
  ContrastMap contrast;
  Detection detection;
  std::vector<Feature> features;
  Sight sight;
};

std::string Bytes(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

SightInputs InputsOf(const Chain& c) {
  return {c.frame, c.fibre, c.scale, c.zones, c.contrast, c.detection, c.options.detect, c.limits};
}

// Nothing, with a line on stderr, when a step has nothing to work on.
std::unique_ptr<Chain> Prepare(const std::filesystem::path& path, const Limits& limits) {
  auto chain = std::make_unique<Chain>();
  Chain& c = *chain;
  c.path = path;
  c.limits = limits;
  c.bytes = Bytes(path);
  auto frame = ReadFrame(path, c.options.read);
  if (!frame.ok() || DecodeJpegFloor(c.bytes) == 0) {
    std::fprintf(stderr, "%s: not a JPEG that can be decoded\n", path.c_str());
    return nullptr;
  }
  c.frame = *std::move(frame);
  auto located = LocateFibre(c.frame, c.options.locate);
  if (!located.ok() || !located->fibre) {
    std::fprintf(stderr, "%s: no fibre was found\n", path.c_str());
    return nullptr;
  }
  c.fibre = *located->fibre;
  c.scale = *SetScale(c.fibre, c.limits, c.options.scale);
  c.zones = LayZones(c.frame.luma.size(), c.scale, c.limits);
  c.contrast = Flatten(c.frame, c.fibre, c.scale, c.zones, c.options.flatten);
  c.detection = DetectRegions(c.contrast, c.options.detect);
  c.features = MeasureFeatures(c.frame, c.contrast, c.scale, c.limits, c.detection.regions);
  c.sight = AssessSight(InputsOf(c), c.options.sight);
  return chain;
}

template <typename Work>
void Register(const Chain& chain, const char* step, Work work) {
  const std::string name = chain.path.stem().string() + "/" + step;
  benchmark::RegisterBenchmark(name.c_str(), [work, &chain](benchmark::State& state) {
    const auto peak_mb = PeakMemoryMb([&] { work(chain); });
    for (auto _ : state) work(chain);
    if (peak_mb) state.counters["peak_mb"] = *peak_mb;
  })->Unit(benchmark::kMillisecond);
}

void RegisterSteps(const Chain& chain) {
  const auto keep = [](const auto& value) { benchmark::DoNotOptimize(&value); };
  Register(chain, "floor", [=](const Chain& c) { keep(DecodeJpegFloor(c.bytes)); });
  Register(chain, "read", [=](const Chain& c) { keep(ReadFrame(c.path, c.options.read)); });
  Register(chain, "locate", [=](const Chain& c) { keep(LocateFibre(c.frame, c.options.locate)); });
  Register(chain, "lay", [=](const Chain& c) {
    keep(SetScale(c.fibre, c.limits, c.options.scale));
    keep(LayZones(c.frame.luma.size(), c.scale, c.limits));
  });
  Register(chain, "flatten", [=](const Chain& c) {
    keep(Flatten(c.frame, c.fibre, c.scale, c.zones, c.options.flatten));
  });
  Register(
      chain, "detect", [=](const Chain& c) { keep(DetectRegions(c.contrast, c.options.detect)); });
  Register(chain, "measure", [=](const Chain& c) {
    keep(MeasureFeatures(c.frame, c.contrast, c.scale, c.limits, c.detection.regions));
  });
  Register(chain, "judge", [=](const Chain& c) {
    const Sight sight = AssessSight(InputsOf(c), c.options.sight);
    keep(
        Judge(c.fibre, c.scale, c.features, sight.zones, sight.quality, c.limits, c.options.judge));
  });
  Register(chain, "grade", [=](const Chain& c) { keep(GradeFrame(c.frame, c.limits, c.options)); });
}

}  // namespace
}  // namespace endgrade::bench

int main(int argc, char** argv) {
  benchmark::Initialize(&argc, argv);
  if (argc < 4 || std::string(argv[1]) != "--limits") {
    std::fprintf(stderr, "usage: %s --limits ID PICTURE.jpg... [--benchmark_...]\n", argv[0]);
    return 2;
  }
  cv::setNumThreads(1);  // as the command has it: threads are for pictures
  // Nor does a worker thread of the command give memory back between pictures. A program that
  // grades in its main thread without this spends a third of its time on getting it again.
  mallopt(M_MMAP_THRESHOLD, 32 * 1024 * 1024);
  mallopt(M_TRIM_THRESHOLD, 512 * 1024 * 1024);
  const auto limits = endgrade::FindLimits(argv[2]);
  if (!limits.ok()) {
    std::fprintf(stderr, "%s\n", limits.error().what.c_str());
    return 2;
  }
  std::vector<std::unique_ptr<endgrade::bench::Chain>> chains;
  for (int i = 3; i < argc; ++i) {
    auto chain = endgrade::bench::Prepare(argv[i], *limits);
    if (!chain) return 1;
    endgrade::bench::RegisterSteps(*chain);
    chains.push_back(std::move(chain));
  }
  benchmark::RunSpecifiedBenchmarks();
  return 0;
}

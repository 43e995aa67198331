// Against another's circle finder on the same pixels: scikit-image's transform.hough_circle
// (Debian's python3-skimage), which knows whole pixels only.
#include "endgrade/locate.h"
#include "tests/support/fibre_scene.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

namespace endgrade {
namespace {

// One bin of the transform is one pixel wide in x, y and radius; its edge detector rounds as well.
constexpr double kBinPx = 1.0;

void WritePgm(const std::filesystem::path& path, const cv::Mat& grey) {
  std::ofstream file(path, std::ios::binary);
  file << "P5\n" << grey.cols << ' ' << grey.rows << "\n255\n";
  for (int y = 0; y < grey.rows; ++y) {
    file.write(reinterpret_cast<const char*>(grey.ptr(y)), grey.cols);
  }
}

std::array<double, 3> HoughCircle(const std::filesystem::path& picture, int from, int to) {
  const std::string command =
      "/usr/bin/python3 -B " ENDGRADE_SOURCE_DIR "/tests/locate/hough_circle.py " +
      picture.string() + ' ' + std::to_string(from) + ' ' + std::to_string(to);
  FILE* pipe = popen(command.c_str(), "r");
  std::array<double, 3> circle{};
  if (pipe == nullptr ||
      std::fscanf(pipe, "%lf %lf %lf", &circle[0], &circle[1], &circle[2]) != 3) {
    ADD_FAILURE() << command;
  }
  if (pipe != nullptr) pclose(pipe);
  return circle;
}

TEST(LocateFibre, AgreesWithTheHoughTransformOfScikitImage) {
  for (const double diameter_px : {130.0, 235.0}) {
    testing::Scene scene;
    scene.size = {400, 320};
    scene.truth.centre_px = {207.6, 151.2};
    scene.truth.um_per_px = 125.0 / diameter_px;
    scene.nuisance.specks = 8;
    Frame frame;
    frame.luma = Render(scene);
    const auto outcome = LocateFibre(frame);
    ASSERT_TRUE(outcome.ok() && outcome->fibre);
    const Ellipse& ours = outcome->fibre->cladding;

    const auto path = std::filesystem::temp_directory_path() /
                      ("endgrade_hough_" + std::to_string(static_cast<int>(diameter_px)) + ".pgm");
    WritePgm(path, frame.luma);
    const int radius = static_cast<int>(diameter_px / 2);
    const auto theirs = HoughCircle(path, radius - 12, radius + 12);
    std::filesystem::remove(path);
    EXPECT_NEAR(ours.centre_px.x, theirs[0], kBinPx);
    EXPECT_NEAR(ours.centre_px.y, theirs[1], kBinPx);
    EXPECT_NEAR(ours.MeanRadius(), theirs[2], kBinPx);
  }
}

}  // namespace
}  // namespace endgrade

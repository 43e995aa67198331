// Grades made by hand, one of every verdict, for limits of four zones and three rules.
#pragma once

#include "endgrade/judge.h"

#include <opencv2/core.hpp>

#include <string>

namespace endgrade {

inline constexpr double kSampleUmPerPx = 0.25;

// 1920 x 1080 grey pixels of one level, named "photographs/port-07.jpg".
[[nodiscard]] Frame SampleFrame(cv::Size size = {1920, 1080}, int level = 110);

[[nodiscard]] Limits SampleLimits();

// A round defect about a place on the end face.
[[nodiscard]] Feature RoundFeature(int id, cv::Point2d centre_um, double diameter_um, int zone);

// A fibre in the middle of a picture, everything in view, nothing on it, every rule met.
[[nodiscard]] FibreGrade CleanFibre(cv::Size picture, double um_per_px = kSampleUmPerPx);

// Adds a feature to a fibre, outlined as a circle of its size by 64 corners.
void PutOnPicture(FibreGrade& fibre, Feature feature);

[[nodiscard]] Grade PassingGrade(cv::Size picture = {1920, 1080});
// Feature 1, a defect of 7.2 um in zone B, breaks "b-defects-over-5"; feature 2, a scratch in zone
// D, is allowed. Marginal, with a warning.
[[nodiscard]] Grade FailingGrade(cv::Size picture = {1920, 1080});
[[nodiscard]] Grade UngradableGrade(cv::Size picture = {1920, 1080});
[[nodiscard]] Grade GradeWithoutFibre();

}  // namespace endgrade

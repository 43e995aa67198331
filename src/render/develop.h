// What a camera does between its sensor and its file: colour, sharpening, tone, marks, rounding.
#pragma once

#include "endgrade/scene.h"

#include <opencv2/core.hpp>

namespace endgrade::render {

// `raw`: linear, 1 = white, one filter a pixel where the sensor is a colour one. Returns 8 bit.
[[nodiscard]] cv::Mat Develop(cv::Mat raw, const SceneDescription& scene);

// Reticle, caption and round mask are drawn by the camera's own electronics, after everything else.
void DrawMarks(cv::Mat& picture, const SceneCamera& camera);

// The pixels that the caption may cover; empty without one.
[[nodiscard]] cv::Rect CaptionBox(const SceneCamera& camera);

}  // namespace endgrade::render

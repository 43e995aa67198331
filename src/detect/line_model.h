// A line's model, to subtract it and to put it back.
#pragma once

#include "detect/line_band.h"
#include "detect/line_profile.h"

#include <opencv2/core.hpp>

#include <vector>

namespace endgrade {

// What explains a line: a bar seen through a blur, as strong as it is along the line.
struct LineModel {
  LineProfile profile;
  double blur = 0;               // cells
  std::vector<double> strength;  // of each piece of the line
};

// Subtracts the line, with its own strength followed along it: a scratch fades and breaks.
void TakeOutLine(const Band& band, LineModel* model, cv::Mat* residual);

void PutBackLine(const Band& band, const LineModel& model, cv::Mat* residual);

}  // namespace endgrade

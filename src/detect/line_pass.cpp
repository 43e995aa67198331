#include "detect/line_pass.h"

#include "core/wide.h"
#include "detect/response.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr double kFamilyApartUm = 3.5;

// The cells of a map of `size` that the field covers.
cv::Rect BoxOf(const LineField& field, cv::Size size) {
  const cv::Matx22d& m = field.um_from_cell;
  const cv::Matx22d spread = (m.t() * m).inv();
  const int half_x = static_cast<int>(std::ceil(field.outer_um * std::sqrt(spread(0, 0))));
  const int half_y = static_cast<int>(std::ceil(field.outer_um * std::sqrt(spread(1, 1))));
  const cv::Rect box(cvRound(field.centre.x) - half_x,
                     cvRound(field.centre.y) - half_y,
                     2 * half_x + 1,
                     2 * half_y + 1);
  return box & cv::Rect(cv::Point(), size);
}

// Turns a row of the response into its score, and holds that within kMostScore.
ENDGRADE_WIDE void Score(const float* __restrict noise,
                         int count,
                         float* __restrict score,
                         float* __restrict bounded) {
  for (int x = 0; x < count; ++x) {
    score[x] /= noise[x];
    bounded[x] = std::min(std::max(score[x], -kMostScore), kMostScore);
  }
}

// Of a row, what lies in the ring; zero for the rest.
ENDGRADE_WIDE void KeepRing(const float* __restrict radius_um,
                            const float* __restrict bounded,
                            float from_um,
                            float past_um,
                            int count,
                            float* __restrict summed) {
  for (int x = 0; x < count; ++x) {
    summed[x] = radius_um[x] >= from_um && radius_um[x] < past_um ? bounded[x] : 0.0F;
  }
}

}  // namespace

LinePass MakeLinePass(const ContrastMap& map, const cv::Mat& residual, const LinePlan& plan) {
  Response response = RespondAtScale(map, residual, plan.sigma_cells);
  LinePass pass;
  pass.plan = plan;
  pass.reduction = response.reduction;
  const double reduction = response.reduction;
  pass.um_per_cell = reduction * map.um_per_cell;
  pass.correlation = std::max(1.0, 2.5 * plan.sigma_cells / reduction);
  pass.field = {
      {(map.centre_cell.x + 0.5) / reduction - 0.5, (map.centre_cell.y + 0.5) / reduction - 0.5},
      map.um_from_cell * reduction,
      plan.from_um,
      plan.to_um};
  // The response itself is not needed any more: its memory holds the score.
  response.smooth.release();
  pass.score = response.band;
  pass.bounded.create(pass.score.size(), CV_32FC1);
  const int columns = pass.score.cols;
  std::vector<float> noise(static_cast<size_t>(columns));
  for (int y = 0; y < pass.score.rows; ++y) {
    const auto* radius = response.radius_um.ptr<float>(y);
    response.noise.AtEach(radius, columns, noise.data());
    Score(noise.data(), columns, pass.score.ptr<float>(y), pass.bounded.ptr<float>(y));
  }
  pass.box = BoxOf(pass.field, pass.score.size());
  pass.summed.create(pass.box.size(), CV_32FC1);
  for (int y = 0; y < pass.box.height; ++y) {
    KeepRing(response.radius_um.ptr<float>(pass.box.y + y) + pass.box.x,
             pass.bounded.ptr<float>(pass.box.y + y) + pass.box.x,
             static_cast<float>(plan.from_um),
             static_cast<float>(plan.to_um),
             pass.box.width,
             pass.summed.ptr<float>(y));
  }
  return pass;
}

std::vector<LineCandidate> CandidatesOf(const LinePass& pass, SpreadSamples* samples) {
  std::vector<LineCandidate> candidates;
  const cv::Rect& box = pass.box;
  if (box.width < 16 || box.height < 16) return candidates;
  LineSumOptions sums;
  sums.threshold = static_cast<float>(pass.plan.threshold);
  sums.most_spread = pass.plan.most_spread;
  sums.apart_cells = static_cast<float>(kFamilyApartUm / pass.um_per_cell);
  LineField field = pass.field;
  field.centre -= cv::Point2d(box.tl());
  candidates = SumLines(pass.summed, field, sums, samples);
  const cv::Point2f shift(static_cast<float>(box.x), static_cast<float>(box.y));
  for (LineCandidate& line : candidates) {
    line.from += shift;
    line.to += shift;
  }
  return candidates;
}

}  // namespace endgrade

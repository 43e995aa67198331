#include "measure/parabola.h"

namespace endgrade {
namespace {

constexpr size_t kLeastPoints = 8;

}  // namespace

std::optional<Parabola> FitParabola(const std::vector<cv::Point2d>& points,
                                    cv::Point2d along,
                                    double length) {
  if (points.size() < kLeastPoints || length <= 0) return std::nullopt;
  Parabola parabola;
  parabola.origin = points.front();
  parabola.along = along;
  parabola.across = {-along.y, along.x};
  parabola.length = length;
  cv::Matx33d normal = cv::Matx33d::zeros();
  cv::Vec3d right(0, 0, 0);
  for (const cv::Point2d& p : points) {
    const double share = parabola.Along(p) / length;
    const cv::Vec3d row(1.0, share, share * share);
    normal += row * row.t();
    right += (p - parabola.origin).dot(parabola.across) * row;
  }
  if (!cv::solve(normal, right, parabola.bend, cv::DECOMP_CHOLESKY)) return std::nullopt;
  return parabola;
}

}  // namespace endgrade

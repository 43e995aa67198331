// Where lines are looked for, and how much of a segment lies there.
#pragma once

#include <opencv2/core.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {

// The ring of the face that is summed over: [inner_um, outer_um) about the centre.
struct LineField {
  cv::Point2d centre;        // cells
  cv::Matx22d um_from_cell;  // of (cell - centre)
  double inner_um = 0;
  double outer_um = 0;

  bool operator==(const LineField&) const = default;

  // Share of the segment from a to b that lies in the ring and in an image of `size`.
  [[nodiscard]] double ShareInside(cv::Point2d a, cv::Point2d b, cv::Size size) const;
};

// A stretch of a segment, in shares of its length.
struct Span {
  double from, to;
  [[nodiscard]] double Length() const { return std::max(0.0, to - from); }
};

// Shares of parallel segments that lie in a field: what they have in common is worked out once.
class SharesInside {
 public:
  SharesInside(const LineField& field, cv::Point2d along, cv::Size size)
      : field_(field),
        x_{along.x, std::abs(along.x) < 1e-12 ? 0.0 : 1.0 / along.x, size.width - 1.0},
        y_{along.y, std::abs(along.y) < 1e-12 ? 0.0 : 1.0 / along.y, size.height - 1.0} {
    const cv::Vec2d step = field.um_from_cell * cv::Vec2d(along.x, along.y);
    d_ = {step[0], step[1]};
    dd_ = d_.dot(d_);
    share_ = dd_ > 0.0 ? 1.0 / dd_ : 0.0;
  }

  // The share of the segment that begins at `a`; 0 where it is surely less than `least`.
  [[nodiscard]] double From(cv::Point2d a, double least = 0) const {
    const cv::Matx22d& m = field_.um_from_cell;
    const cv::Point2d cell(a.x - field_.centre.x, a.y - field_.centre.y);
    const cv::Point2d a_um(m.val[0] * cell.x + m.val[1] * cell.y,
                           m.val[2] * cell.x + m.val[3] * cell.y);
    if (field_.inner_um <= 0.0 && IsInside(a, a_um)) return 1.0;
    // The whole chord of the outer circle, wherever the segment ends.
    const double root = Root(a_um, field_.outer_um);
    const double shortest = least * dd_;
    if (4.0 * root < (1.0 - 1e-9) * shortest * shortest) return 0.0;
    const Span span = y_.Inside(a.y, x_.Inside(a.x, {0, 1}));
    const double outer = InsideCircle(a_um, root, span).Length();
    if (outer <= 0.0 || field_.inner_um <= 0.0) return outer;
    const double inner_root = Root(a_um, field_.inner_um);
    return std::max(0.0, outer - InsideCircle(a_um, inner_root, span).Length());
  }

 private:
  // One coordinate of the segments: its change along them, one over it, the image's last.
  struct Extent {
    double d, share, last;

    [[nodiscard]] bool Holds(double a) const {
      return std::min(a, a + d) >= 0 && std::max(a, a + d) < last;
    }
    [[nodiscard]] Span Inside(double a, Span within) const {
      if (std::abs(d) < 1e-12) return a >= 0 && a <= last ? within : Span{0, 0};
      const double t0 = -a * share;
      const double t1 = (last - a) * share;
      return {std::max(within.from, std::min(t0, t1)), std::min(within.to, std::max(t0, t1))};
    }
  };

  // Whether both ends, and so all of the segment, surely lie in the image and the outer circle.
  [[nodiscard]] bool IsInside(cv::Point2d a, cv::Point2d a_um) const {
    const double most = (1.0 - 1e-9) * field_.outer_um * field_.outer_um;
    const cv::Point2d b_um = a_um + d_;
    return a_um.dot(a_um) < most && b_um.dot(b_um) < most && x_.Holds(a.x) && y_.Holds(a.y);
  }

  // Under the root of the equation for t where a + t d meets the circle; its solutions lie
  // 2 sqrt(root) / d.d apart.
  [[nodiscard]] double Root(cv::Point2d a, double radius) const {
    const double ad = a.dot(d_);
    return ad * ad - dd_ * (a.dot(a) - radius * radius);
  }

  // Where a + t d, for t in `within`, is inside the circle of this root.
  [[nodiscard]] Span InsideCircle(cv::Point2d a, double root, Span within) const {
    if (root <= 0.0 || dd_ <= 0.0) return {0, 0};
    const double ad = a.dot(d_);
    const double reach = std::sqrt(root);
    return {std::max(within.from, (-ad - reach) * share_),
            std::min(within.to, (-ad + reach) * share_)};
  }

  const LineField& field_;
  Extent x_;
  Extent y_;
  cv::Point2d d_;  // um
  double dd_ = 0;
  double share_ = 0;
};

inline double LineField::ShareInside(cv::Point2d a, cv::Point2d b, cv::Size size) const {
  return SharesInside(*this, b - a, size).From(a);
}

}  // namespace endgrade

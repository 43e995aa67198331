#include "detect/line_field.h"

#include "core/wide.h"

#include <cmath>

namespace endgrade {
namespace {

// What follows is worked out for one segment, T a double, or for four side by side, T a Four. Where
// those go into and come out of a function would depend on the processor, but all are inlined.
#pragma GCC diagnostic ignored "-Wpsabi"

template <typename T>
struct Segment {
  T x, y, along_x, along_y;
};

// A stretch of a segment, in shares of its length.
template <typename T>
struct Span {
  T from, to;
};

template <typename T>
[[gnu::always_inline]] inline T Lesser(const T& a, const T& b) {
  return b < a ? b : a;
}

template <typename T>
[[gnu::always_inline]] inline T Greater(const T& a, const T& b) {
  return a < b ? b : a;
}

[[gnu::always_inline]] inline double RootOf(double value) { return std::sqrt(value); }

[[gnu::always_inline]] inline Four RootOf(const Four& value) {
  return Four{std::sqrt(value[0]), std::sqrt(value[1]), std::sqrt(value[2]), std::sqrt(value[3])};
}

template <typename T>
[[gnu::always_inline]] inline T LengthOf(const Span<T>& span) {
  return Greater(T{}, span.to - span.from);
}

// What of it lies between 0 and `last` of one coordinate, of which it begins at `a` and changes by
// `along`.
template <typename T>
[[gnu::always_inline]] inline Span<T> InImage(const T& a,
                                              const T& along,
                                              double last,
                                              const Span<T>& within) {
  const T zero{};
  const auto level = Greater(along, -along) < 1e-12;
  const T share = level ? zero : 1.0 / along;
  const T t0 = -a * share;
  const T t1 = (last - a) * share;
  // One that does not change is in the image wholly or not at all.
  const auto off = Lesser(a, last - a) < 0.0;
  const T level_from = off ? zero : within.from;
  const T level_to = off ? zero : within.to;
  return {level ? level_from : Greater(within.from, Lesser(t0, t1)),
          level ? level_to : Lesser(within.to, Greater(t0, t1))};
}

template <typename T>
[[gnu::always_inline]] inline T ShareOf(const LineField& field,
                                        cv::Size size,
                                        const Segment<T>& segment) {
  const T zero{};
  const cv::Matx22d& m = field.um_from_cell;
  const T cell_x = segment.x - field.centre.x;
  const T cell_y = segment.y - field.centre.y;
  const T x_um = m.val[0] * cell_x + m.val[1] * cell_y;
  const T y_um = m.val[2] * cell_x + m.val[3] * cell_y;
  const T along_x_um = m.val[0] * segment.along_x + m.val[1] * segment.along_y;
  const T along_y_um = m.val[2] * segment.along_x + m.val[3] * segment.along_y;
  // A circle is met at those t of a + t d for which t^2 d.d + 2 t a.d + a.a = r^2.
  const T dd = along_x_um * along_x_um + along_y_um * along_y_um;
  const T ad = x_um * along_x_um + y_um * along_y_um;
  const T aa = x_um * x_um + y_um * y_um;
  const T share = dd > 0.0 ? 1.0 / dd : zero;
  const Span<T> whole{zero, zero + 1.0};
  const Span<T> in_image = InImage(segment.y,
                                   segment.along_y,
                                   size.height - 1.0,
                                   InImage(segment.x, segment.along_x, size.width - 1.0, whole));
  const auto length_in_circle = [&](double radius) __attribute__((always_inline)) {
    const T under_root = ad * ad - dd * (aa - radius * radius);
    const T reach = RootOf(Greater(under_root, zero));
    const T length = LengthOf(Span<T>{Greater(in_image.from, (-ad - reach) * share),
                                      Lesser(in_image.to, (-ad + reach) * share)});
    const T met = dd > 0.0 ? length : zero;
    return under_root > 0.0 ? met : zero;
  };
  const T outer = length_in_circle(field.outer_um);
  if (field.inner_um > 0.0) return Greater(zero, outer - length_in_circle(field.inner_um));
  // Rounding takes nothing off a segment whose ends are both inside.
  const double most = (1.0 - 1e-9) * field.outer_um * field.outer_um;
  const T end_x = segment.x + segment.along_x;
  const T end_y = segment.y + segment.along_y;
  const T end_x_um = x_um + along_x_um;
  const T end_y_um = y_um + along_y_um;
  const T furthest = Greater(aa, end_x_um * end_x_um + end_y_um * end_y_um);
  const T least = Lesser(Lesser(segment.x, end_x), Lesser(segment.y, end_y));
  const T beyond = Greater(Greater(segment.x, end_x) - (size.width - 1.0),
                           Greater(segment.y, end_y) - (size.height - 1.0));
  const T in_circle = furthest < most ? whole.to : outer;
  const T from_first = least >= 0.0 ? in_circle : outer;
  return beyond < 0.0 ? from_first : outer;
}

// Returns how many of the segments are told: all but what is left over of fours.
ENDGRADE_WIDE size_t TellByFours(const LineField& field,
                                 cv::Size size,
                                 const Segments& segments,
                                 double* __restrict shares) {
  size_t i = 0;
  for (; i + 4 <= segments.count; i += 4) {
    const Segment<Four> four{FourAt(segments.x.data() + i).value,
                             FourAt(segments.y.data() + i).value,
                             FourAt(segments.along_x.data() + i).value,
                             FourAt(segments.along_y.data() + i).value};
    FourAt(shares + i).value = ShareOf(field, size, four);
  }
  return i;
}

}  // namespace

double LineField::ShareInside(cv::Point2d a, cv::Point2d b, cv::Size size) const {
  return ShareOf(*this, size, Segment<double>{a.x, a.y, b.x - a.x, b.y - a.y});
}

void LineField::SharesInside(const Segments& segments,
                             cv::Size size,
                             Segments::Each* shares) const {
  size_t i = TellByFours(*this, size, segments, shares->data());
  for (; i < segments.count; ++i) {
    const Segment<double> one{
        segments.x[i], segments.y[i], segments.along_x[i], segments.along_y[i]};
    (*shares)[i] = ShareOf(*this, size, one);
  }
}

}  // namespace endgrade

#include "detect/line_trace.h"

#include "core/wide.h"
#include "detect/direction.h"
#include "flatten/cell_grid.h"

#include <opencv2/core.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <span>

namespace endgrade {
namespace {

// A single cell's evidence is held within these.
constexpr double kLeastShown = -3.0;
constexpr double kMostShown = 4.0;

constexpr double kShortestBlock = 6.0;  // cells
constexpr double kLongestBlock = 48.0;  // cells
constexpr double kBlockSigma = 3.0;     // evidence that a block should carry on average
constexpr double kKeepShare = 0.55;     // of the mean: a block below it does not show the line
constexpr int kMostMisses = 3;          // blocks in a row that may be missing
constexpr double kMostTurn = 0.22;      // radians a block
constexpr int kMostCrossed = 12;        // blocks that may lie in the bands of other lines
constexpr int kMostBlocks = 400;

cv::Point2d Left(cv::Point2d d) { return {d.y, -d.x}; }

struct Segment {
  cv::Point2d from, to;
};

// The best of small sideways shifts of both ends.
Segment Refine(const cv::Mat& score, double sign, Segment segment) {
  const cv::Point2d side = Left(Unit(segment.to - segment.from));
  Segment best = segment;
  double best_mean = MeanScore(score, sign, segment.from, segment.to);
  for (double a = -1.5; a <= 1.5; a += 0.5) {
    for (double b = -1.5; b <= 1.5; b += 0.5) {
      const Segment moved{segment.from + side * a, segment.to + side * b};
      const double mean = MeanScore(score, sign, moved.from, moved.to);
      if (mean > best_mean) {
        best_mean = mean;
        best = moved;
      }
    }
  }
  return best;
}

double BlockLength(double mean, double correlation) {
  const double wanted = std::pow(kBlockSigma / std::max(mean, 0.1), 2) * correlation;
  return std::clamp(wanted, kShortestBlock, kLongestBlock);
}

// The piece of the segment, a block long, that shows the line best.
Segment BestPiece(const cv::Mat& score, double sign, Segment segment, double block) {
  const double length = std::hypot(segment.to.x - segment.from.x, segment.to.y - segment.from.y);
  if (2.0 * block >= length) return segment;
  const cv::Point2d along = Unit(segment.to - segment.from);
  Segment best = segment;
  double best_mean = -1e9;
  for (double start = 0; start + block <= length; start += 0.5 * block) {
    const Segment piece{segment.from + along * start, segment.from + along * (start + block)};
    const double mean = MeanScore(score, sign, piece.from, piece.to);
    if (mean > best_mean) {
      best_mean = mean;
      best = piece;
    }
  }
  return best;
}

// Whether most of a piece has been taken by an earlier line, where the score is exactly zero: it
// can then say nothing about this one.
bool IsTaken(const cv::Mat& score, cv::Point2d from, cv::Point2d to) {
  int zeros = 0;
  constexpr int kLooks = 6;
  for (int i = 0; i <= kLooks; ++i) {
    const cv::Point2d p = from + (to - from) * (static_cast<double>(i) / kLooks);
    const int x = std::clamp(cvRound(p.x), 0, score.cols - 1);
    const int y = std::clamp(cvRound(p.y), 0, score.rows - 1);
    zeros += score.at<float>(y, x) == 0.0F ? 1 : 0;
  }
  return 2 * zeros > kLooks;
}

// Walks on from `at` in blocks; appends the points reached, without the misses at the end.
void Follow(const cv::Mat& score,
            double sign,
            cv::Point2d at,
            cv::Point2d direction,
            double block,
            double mean,
            std::vector<cv::Point2d>* points) {
  const cv::Rect2d inside(0, 0, score.cols - 1, score.rows - 1);
  const double widest = std::min(kMostTurn * block, 2.0);
  int misses = 0;
  int crossed = 0;
  std::vector<cv::Point2d> pending;
  for (int i = 0; i < kMostBlocks && misses <= kMostMisses; ++i) {
    cv::Point2d best = at + direction * block;
    if (!inside.contains(best)) break;
    double best_mean = MeanScore(score, sign, at, best);
    double best_value = best_mean;
    for (double shift = -widest; shift <= widest + 1e-9; shift += 0.5) {
      const cv::Point2d to = at + direction * block + Left(direction) * shift;
      const double value = MeanScore(score, sign, at, to);
      // Within a strong line all shifts look the same: the straightest is taken.
      const double judged = value - 0.05 * std::abs(shift) * std::max(mean, 0.3);
      if (judged > best_value) {
        best_value = judged;
        best_mean = value;
        best = to;
      }
    }
    if (best_mean < kKeepShare * mean) {
      const bool taken = IsTaken(score, at, at + direction * block);
      if (!taken || ++crossed > kMostCrossed) ++misses;
      at = at + direction * block;
      pending.push_back(at);
      continue;
    }
    misses = 0;
    direction = Unit(direction * 0.5 + Unit(best - at) * 0.5);
    at = best;
    points->insert(points->end(), pending.begin(), pending.end());
    pending.clear();
    points->push_back(at);
  }
}

// Index of the highest value, to a fraction of a step (parabola through its neighbours).
double HighestPlace(std::span<const double> values) {
  const auto best =
      static_cast<size_t>(std::max_element(values.begin(), values.end()) - values.begin());
  const auto place = static_cast<double>(best);
  if (best == 0 || best + 1 == values.size()) return place;
  const double left = values[best - 1];
  const double here = values[best];
  const double right = values[best + 1];
  const double bend = left - 2.0 * here + right;
  return bend < 0 ? place + std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : place;
}

// How far the direction turns, all in all, in degrees: over pieces long enough that sideways noise
// does not read as bending.
double Turning(const std::vector<cv::Point2d>& spine, double length) {
  const std::vector<cv::Point2d> coarse = Resample(spine, std::max(20.0, length / 8.0));
  double turning = 0;
  for (size_t i = 1; i + 1 < coarse.size(); ++i) {
    const cv::Point2d u = Unit(coarse[i] - coarse[i - 1]);
    const cv::Point2d v = Unit(coarse[i + 1] - coarse[i]);
    turning += std::abs(std::atan2(u.x * v.y - u.y * v.x, u.dot(v)));
  }
  return turning * 180.0 / CV_PI;
}

void Describe(const cv::Mat& score, double sign, double correlation, LineTrace* trace) {
  double sum = 0;
  double length = 0;
  int shown = 0;
  const size_t blocks = trace->spine.size() - 1;
  std::vector<double> means(blocks);
  for (size_t i = 0; i < blocks; ++i) {
    const cv::Point2d a = trace->spine[i];
    const cv::Point2d b = trace->spine[i + 1];
    const double piece = std::hypot(b.x - a.x, b.y - a.y);
    means[i] = MeanScore(score, sign, a, b);
    if (IsTaken(score, a, b)) {
      means[i] = -1e9;
      continue;
    }
    sum += means[i] * piece;
    length += piece;
  }
  trace->mean_score = length > 0 ? sum / length : 0;
  trace->snr = length > 0 ? sum / std::sqrt(length * correlation) : 0;
  int asked = 0;
  for (const double mean : means) {
    asked += mean > -1e8 ? 1 : 0;
    shown += mean >= kKeepShare * trace->mean_score ? 1 : 0;
  }
  trace->on_fraction = asked > 0 ? static_cast<double>(shown) / asked : 0;

  trace->turning_deg = Turning(trace->spine, length);
}

constexpr int kAtOnce = 64;

// Bounded values of `count` points of a segment that lies well inside the map, from the `first` of
// `steps` on, in the same bits as SampleInside.
ENDGRADE_WIDE void SampleAlong(const float* __restrict cells,
                               std::ptrdiff_t stride,
                               cv::Point2d from,
                               cv::Point2d run,
                               double sign,
                               int first,
                               int steps,
                               int count,
                               double* __restrict values) {
  std::ptrdiff_t at[kAtOnce];
  double part_x[kAtOnce];
  double part_y[kAtOnce];
  for (int i = 0; i < count; ++i) {
    const double part = static_cast<double>(first + i) / steps;
    const double px = from.x + run.x * part;
    const double py = from.y + run.y * part;
    const int x = static_cast<int>(px);
    const int y = static_cast<int>(py);
    part_x[i] = px - x;
    part_y[i] = py - y;
    at[i] = y * stride + x;
  }
  for (int i = 0; i < count; ++i) {
    const float* top = cells + at[i];
    const float* bottom = top + stride;
    const double fx = part_x[i];
    const double fy = part_y[i];
    const double upper = static_cast<double>(top[0]) * (1 - fx) + static_cast<double>(top[1]) * fx;
    const double lower =
        static_cast<double>(bottom[0]) * (1 - fx) + static_cast<double>(bottom[1]) * fx;
    values[i] = std::clamp(sign * (upper * (1 - fy) + lower * fy), kLeastShown, kMostShown);
  }
}

}  // namespace

// Mean over points from one end to the other, a cell apart.
double MeanScore(const cv::Mat& score, double sign, cv::Point2d from, cv::Point2d to) {
  const cv::Point2d run = to - from;
  const int steps = std::max(1, static_cast<int>(std::lround(std::sqrt(run.dot(run)))));
  double sum = 0;
  if (!IsWellInside(score, from) || !IsWellInside(score, to)) {
    for (int i = 0; i <= steps; ++i) {
      const double part = static_cast<double>(i) / steps;
      sum += std::clamp(sign * SampleAt(score, from + run * part), kLeastShown, kMostShown);
    }
    return sum / (steps + 1);
  }
  double values[kAtOnce];
  for (int first = 0; first <= steps; first += kAtOnce) {
    const int count = std::min(kAtOnce, steps + 1 - first);
    const auto stride = static_cast<std::ptrdiff_t>(score.step1());
    SampleAlong(score.ptr<float>(), stride, from, run, sign, first, steps, count, values);
    for (int i = 0; i < count; ++i) sum += values[i];
  }
  return sum / (steps + 1);
}

void Recentre(const cv::Mat& exact,
              double per_unit,
              double window,
              std::vector<cv::Point2d>* spine) {
  constexpr double kStep = 3.0;
  constexpr double kReach = 3.0;
  constexpr int kShifts = 13;  // half a cell apart
  const std::vector<cv::Point2d> points = Resample(*spine, kStep);
  const int count = static_cast<int>(points.size());
  if (count < 3) return;
  std::vector<cv::Point2d> sides(points.size());
  using Row = std::array<double, kShifts>;
  std::vector<Row> values(points.size());
  for (int i = 0; i < count; ++i) {
    const cv::Point2d ahead = points[static_cast<size_t>(std::min(i + 1, count - 1))];
    const cv::Point2d behind = points[static_cast<size_t>(std::max(i - 1, 0))];
    sides[static_cast<size_t>(i)] = Left(Unit(ahead - behind));
    for (int s = 0; s < kShifts; ++s) {
      const double shift = s * 0.5 - kReach;
      const cv::Point2d p = points[static_cast<size_t>(i)] + sides[static_cast<size_t>(i)] * shift;
      values[static_cast<size_t>(i)][static_cast<size_t>(s)] =
          std::max(per_unit * SampleAt(exact, p), -3.0);
    }
  }
  // Specks on or beside the line must not draw it to them.
  std::vector<float> middles;
  middles.reserve(points.size());
  for (const Row& row : values) middles.push_back(static_cast<float>(row[kShifts / 2]));
  const double bound = 2.5 * std::max(1.0, static_cast<double>(MedianOf(middles)));
  for (Row& row : values) {
    for (double& value : row) value = std::min(value, bound);
  }
  const int half = std::max(1, static_cast<int>(std::lround(0.5 * window / kStep)));
  std::vector<double> shifts(points.size(), 0.0);
  for (int i = 0; i < count; ++i) {
    Row sum{};
    for (int j = std::max(0, i - half); j < std::min(count, i + half + 1); ++j) {
      for (size_t s = 0; s < sum.size(); ++s) sum[s] += values[static_cast<size_t>(j)][s];
    }
    shifts[static_cast<size_t>(i)] = HighestPlace(sum) * 0.5 - kReach;
  }
  std::vector<cv::Point2d> moved;
  for (int i = 0; i < count; ++i) {
    double mean = 0;
    int used = 0;
    for (int j = std::max(0, i - half); j <= std::min(count - 1, i + half); ++j, ++used) {
      mean += shifts[static_cast<size_t>(j)];
    }
    moved.push_back(points[static_cast<size_t>(i)] + sides[static_cast<size_t>(i)] * (mean / used));
  }
  *spine = std::move(moved);
}

std::vector<cv::Point2d> Resample(const std::vector<cv::Point2d>& line, double step) {
  std::vector<cv::Point2d> points;
  if (line.empty()) return points;
  points.push_back(line.front());
  double left = step;
  for (size_t i = 1; i < line.size(); ++i) {
    const cv::Point2d piece = line[i] - line[i - 1];
    const double length = std::hypot(piece.x, piece.y);
    double at = left;
    for (; at <= length && length > 0; at += step) {
      points.push_back(line[i - 1] + piece * (at / length));
    }
    left = at - length;
  }
  return points;
}

double LengthOf(const std::vector<cv::Point2d>& line) {
  double length = 0;
  for (size_t i = 1; i < line.size(); ++i) {
    length += std::hypot(line[i].x - line[i - 1].x, line[i].y - line[i - 1].y);
  }
  return length;
}

double Straying(const std::vector<cv::Point2d>& spine) {
  const std::vector<cv::Point2d> points = Resample(spine, 2.0);
  if (points.size() < 6) return 0.0;
  const cv::Point2d run = points.back() - points.front();
  const double length = std::max(1e-9, std::hypot(run.x, run.y));
  cv::Matx33d normal = cv::Matx33d::zeros();
  cv::Vec3d right(0, 0, 0);
  std::vector<cv::Vec3d> rows;
  std::vector<double> offsets;
  for (const cv::Point2d& p : points) {
    const cv::Point2d from = p - points.front();
    const double t = from.dot(run) / (length * length);
    rows.emplace_back(1.0, t, t * t);
    offsets.push_back((from.x * run.y - from.y * run.x) / length);
    normal += rows.back() * rows.back().t();
    right += offsets.back() * rows.back();
  }
  cv::Vec3d fit;
  if (!cv::solve(normal, right, fit, cv::DECOMP_CHOLESKY)) return 0.0;
  double most = 0;
  for (size_t i = 0; i < rows.size(); ++i) {
    most = std::max(most, std::abs(offsets[i] - rows[i].dot(fit)));
  }
  return most;
}

double LineTrace::Length() const { return LengthOf(spine); }

LineTrace TraceLine(const cv::Mat& score,
                    const cv::Mat& exact,
                    const LineCandidate& seed,
                    double correlation_cells) {
  const double sign = static_cast<double>(seed.sign);
  Segment segment = Refine(score, sign, {seed.from, seed.to});
  const double seed_mean = MeanScore(score, sign, segment.from, segment.to);
  const double block = BlockLength(seed_mean, correlation_cells);
  segment = BestPiece(score, sign, segment, block);
  const double mean = std::max(seed_mean, MeanScore(score, sign, segment.from, segment.to));
  const double judged = 0.5 * (mean + seed_mean);

  const cv::Point2d along = Unit(segment.to - segment.from);
  LineTrace trace;
  std::vector<cv::Point2d> back;
  Follow(score, sign, segment.from, -along, block, judged, &back);
  trace.spine.assign(back.rbegin(), back.rend());
  // The straight piece itself, cut into blocks too.
  const double length = std::hypot(segment.to.x - segment.from.x, segment.to.y - segment.from.y);
  const int pieces = std::max(1, static_cast<int>(std::lround(length / block)));
  for (int i = 0; i <= pieces; ++i) {
    const double part = static_cast<double>(i) / pieces;
    trace.spine.push_back(segment.from + (segment.to - segment.from) * part);
  }
  Follow(score, sign, segment.to, along, block, judged, &trace.spine);
  // The outermost blocks may show nothing of it: a straight piece is longer than a short line.
  const auto shows = [&](size_t i) {
    return MeanScore(score, sign, trace.spine[i], trace.spine[i + 1]) >= kKeepShare * judged;
  };
  while (trace.spine.size() > 2 && !shows(trace.spine.size() - 2)) trace.spine.pop_back();
  while (trace.spine.size() > 2 && !shows(0)) trace.spine.erase(trace.spine.begin());
  Describe(score, sign, correlation_cells, &trace);
  for (int round = 0; round < 2; ++round) Recentre(exact, sign, block, &trace.spine);
  const double wander = trace.turning_deg;
  trace.turning_deg = std::max(wander, Turning(trace.spine, trace.Length()));
  return trace;
}

}  // namespace endgrade

#include "detect/line_leftovers.h"

#include "detect/direction.h"
#include "detect/line_trace.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <vector>

namespace endgrade {
namespace {

constexpr double kLargestUm = 9.0;      // longest side of what is left at a crossing
constexpr double kWeaker = 0.6;         // its depth over the deepest of the lines'
constexpr double kLeastTurnDeg = 12.0;  // between lines that cross
constexpr double kBesideUm = 1.0;       // beyond half the line's width and its blur
constexpr double kPastEndUm = 5.0;      // how far a line is thought to go on
constexpr double kLeastOn = 0.8;        // share of the cells that lie on the lines
constexpr double kTailWeaker = 0.75;
constexpr double kTailLeastSlender = 1.4;
constexpr double kTailAsDeep = 1.2;  // of one that is itself a piece of a line
constexpr double kTailPieceSlender = 2.2;
constexpr double kTailLargestUm = 10.0;

// A line's middle, gone on straight past its ends.
struct Course {
  std::vector<cv::Point2d> points;  // a cell apart
  size_t first = 0;                 // of the points: where the line itself starts
  size_t last = 0;                  // and stops
  double reach = 0;                 // cells to either side that are its own
};

Course CourseOf(const ContrastMap& map, const Region& line) {
  Course course;
  const std::vector<cv::Point2d> own = Resample(line.spine, 1.0);
  if (own.size() < 3) return course;
  const auto past = static_cast<size_t>(std::ceil(kPastEndUm / map.um_per_cell));
  const size_t look = std::min<size_t>(own.size() - 1, 12);
  const cv::Point2d back = Unit(own.front() - own[look]);
  const cv::Point2d ahead = Unit(own.back() - own[own.size() - 1 - look]);
  for (size_t i = past; i > 0; --i)
    course.points.push_back(own.front() + back * static_cast<double>(i));
  course.first = course.points.size();
  course.points.insert(course.points.end(), own.begin(), own.end());
  course.last = course.points.size() - 1;
  for (size_t i = 1; i <= past; ++i)
    course.points.push_back(own.back() + ahead * static_cast<double>(i));
  course.reach = 0.5 * line.line_width_cells + 1.5 * std::max(0.5, map.blur_sigma_cells) +
                 kBesideUm / map.um_per_cell;
  return course;
}

struct Nearest {
  size_t index = 0;
  double distance = 1e18;
};

// The nearest point, where one is within the course's reach. Points are a cell apart: one that is
// far away tells how many of the next are, too, and most lines are far from most things.
Nearest NearestOf(const Course& course, cv::Point2d p) {
  Nearest nearest;
  for (size_t i = 0; i < course.points.size();) {
    const cv::Point2d off = p - course.points[i];
    const double distance = std::hypot(off.x, off.y);
    if (distance < nearest.distance) nearest = {i, distance};
    const double spare = distance - std::min(nearest.distance, course.reach);
    i += std::max<size_t>(1, static_cast<size_t>(0.95 * std::max(0.0, spare)));
  }
  return nearest;
}

cv::Point2d DirectionAt(const Course& course, size_t index) {
  const size_t from = index > 4 ? index - 4 : 0;
  const size_t to = std::min(index + 4, course.points.size() - 1);
  return Unit(course.points[to] - course.points[from]);
}

cv::Point2d MiddleOf(const Region& region) {
  cv::Point2d sum(0, 0);
  for (const cv::Point& cell : region.cells) sum += cv::Point2d(cell);
  return sum * (1.0 / static_cast<double>(region.cells.size()));
}

double LongestUm(const ContrastMap& map, const Region& region) {
  const cv::Rect box = cv::boundingRect(region.cells);
  return std::max(box.width, box.height) * map.um_per_cell;
}

double ShareOn(const Region& region, const std::vector<const Course*>& courses) {
  size_t on = 0;
  for (const cv::Point& cell : region.cells) {
    on += std::any_of(courses.begin(), courses.end(), [&](const Course* course) {
      return NearestOf(*course, cell).distance <= course->reach;
    });
  }
  return static_cast<double>(on) / static_cast<double>(region.cells.size());
}

bool IsLeftAtCrossing(const ContrastMap& map,
                      const Region& region,
                      const std::vector<Region>& lines,
                      const std::vector<Course>& courses) {
  if (LongestUm(map, region) > kLargestUm) return false;
  const cv::Point2d middle = MiddleOf(region);
  std::vector<const Course*> near;
  std::vector<cv::Point2d> directions;
  double deepest = 0;
  for (size_t i = 0; i < courses.size(); ++i) {
    if (courses[i].points.empty()) continue;
    const Nearest nearest = NearestOf(courses[i], middle);
    if (nearest.distance > courses[i].reach) continue;
    near.push_back(&courses[i]);
    directions.push_back(DirectionAt(courses[i], nearest.index));
    deepest = std::max(deepest, std::abs(lines[i].depth));
  }
  const double most_alike = std::cos(kLeastTurnDeg * CV_PI / 180.0);
  bool cross = false;
  for (size_t i = 0; i < directions.size(); ++i) {
    for (size_t j = i + 1; j < directions.size(); ++j) {
      cross = cross || std::abs(directions[i].dot(directions[j])) < most_alike;
    }
  }
  return cross && std::abs(region.depth) <= kWeaker * deepest && ShareOn(region, near) >= kLeastOn;
}

// Whether the region goes on where the line stops; the line is longer by it then.
bool TakeInTail(const ContrastMap& map, const Region& region, const Course& course, Region* line) {
  if (course.points.empty() || region.depth * line->depth <= 0) return false;
  if (std::abs(region.depth) > kTailAsDeep * std::abs(line->depth)) return false;
  if (LongestUm(map, region) > kTailLargestUm) return false;
  const Nearest nearest = NearestOf(course, MiddleOf(region));
  if (nearest.distance > course.reach) return false;
  const bool before = nearest.index < course.first;
  if (!before && nearest.index <= course.last) return false;
  if (ShareOn(region, {&course}) < kLeastOn) return false;
  const cv::Point2d along = DirectionAt(course, nearest.index);
  double low = 1e18;
  double high = -1e18;
  double left = 1e18;
  double right = -1e18;
  for (const cv::Point& cell : region.cells) {
    const cv::Point2d p(cell);
    low = std::min(low, p.dot(along));
    high = std::max(high, p.dot(along));
    left = std::min(left, p.x * along.y - p.y * along.x);
    right = std::max(right, p.x * along.y - p.y * along.x);
  }
  const double slender = (high - low + 1.0) / (right - left + 1.0);
  const bool weaker = std::abs(region.depth) <= kTailWeaker * std::abs(line->depth);
  if (slender < (weaker ? kTailLeastSlender : kTailPieceSlender)) return false;
  const cv::Point2d end = before ? line->spine.front() : line->spine.back();
  const double length = before ? end.dot(along) - low : high - end.dot(along);
  const cv::Point2d tip = end + along * (before ? -length : length);
  line->spine.insert(before ? line->spine.begin() : line->spine.end(), tip);
  line->cells.insert(line->cells.end(), region.cells.begin(), region.cells.end());
  return true;
}

}  // namespace

void TakeInLeftovers(const ContrastMap& map,
                     std::vector<Region>* lines,
                     std::vector<Region>* regions) {
  std::vector<Course> courses;
  for (const Region& line : *lines) courses.push_back(CourseOf(map, line));
  std::erase_if(*regions, [&](const Region& region) {
    if (region.cells.empty()) return false;
    if (IsLeftAtCrossing(map, region, *lines, courses)) return true;
    for (size_t i = 0; i < courses.size(); ++i) {
      if (TakeInTail(map, region, courses[i], &(*lines)[i])) return true;
    }
    return false;
  });
}

}  // namespace endgrade

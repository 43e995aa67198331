#include "detect/film_search.h"

#include "core/wide.h"
#include "detect/runs.h"
#include "detect/sample.h"
#include "flatten/robust_fit.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <optional>

namespace endgrade {
namespace {

constexpr double kCellUm = 1.0;       // of the grid that is looked at
constexpr double kSmoothingUm = 2.0;  // sigma
constexpr double kBesideRimUm = 8.0;  // what the rim leaves is no film
constexpr double kInsideSearchUm = 1.5;
constexpr float kLeastHeight = 0.06F;  // of the light that is there, everywhere on it
constexpr double kLeastMean = 0.09;    // and as a mean
constexpr double kOpeningUm = 4.0;     // radius: patches of grain are ragged, and fall apart
constexpr double kLinesReachUm = 3.0;
constexpr double kLeastUm2 = 800.0;
constexpr double kLeastSolid = 0.85;  // of its convex hull
constexpr double kPieceUm = 12.0;     // of the border, that must show the step
constexpr double kLeastPieces = 0.9;  // of the pieces that are seen
constexpr double kLeastSeen = 0.5;    // of the border
constexpr double kPieceStep = 0.4;    // of the mean height
constexpr double kLeastStep = 0.7;    // the same, of the whole border
constexpr double kHeldShare = 0.5;

// The brightness on cells of about kCellUm, once TakeOffLight has been there without the light.
struct Grid {
  int step = 1;  // map cells a cell
  double um = 1.0;
  cv::Mat height;        // CV_32FC1
  cv::Mat smooth;        // CV_32FC1
  cv::Mat light;         // CV_32FC1; 0 where nothing is looked at
  cv::Mat held;          // CV_8UC1: by regions
  cv::Mat beside_lines;  // CV_8UC1

  [[nodiscard]] cv::Point2f MapCell(cv::Point2d p) const {
    return cv::Point2d((p.x + 0.5) * step - 0.5, (p.y + 0.5) * step - 0.5);
  }
};

std::vector<int> DiscOf(double radius_cells) {
  return DiscRows(std::max(1, static_cast<int>(std::lround(radius_cells))));
}

// The marked cells with nothing unmarked within a shape about them; what lies beyond the mask does
// not count.
cv::Mat Narrowed(const cv::Mat& mask, const std::vector<int>& half) {
  return Widened(mask == 0, half) == 0;
}

Grid LayGrid(const ContrastMap& map, const std::vector<Region>& regions) {
  Grid grid;
  grid.step = std::max(1, static_cast<int>(std::lround(kCellUm / map.um_per_cell)));
  grid.um = grid.step * map.um_per_cell;
  const cv::Size size(map.level.cols / grid.step, map.level.rows / grid.step);
  if (size.empty()) return grid;
  cv::resize(map.level(cv::Rect(0, 0, size.width * grid.step, size.height * grid.step)),
             grid.height,
             size,
             0,
             0,
             cv::INTER_AREA);
  grid.light = cv::Mat::zeros(size, CV_32FC1);
  const int middle = grid.step / 2;
  const double nearest = map.cladding_radius_um + kBesideRimUm;
  const double farthest = map.outer_um - kInsideSearchUm;
  for (int y = 0; y < size.height; ++y) {
    const int from_y = y * grid.step + middle;
    const auto* radius = map.radius_um.ptr<float>(from_y) + middle;
    const auto* valid = map.valid.empty() ? nullptr : map.valid.ptr<std::uint8_t>(from_y) + middle;
    auto* light = grid.light.ptr<float>(y);
    for (int x = 0; x < size.width; ++x) {
      const float from_centre = radius[x * grid.step];
      const bool ferrule =
          static_cast<double>(from_centre) > nearest && static_cast<double>(from_centre) < farthest;
      if (!ferrule || (valid != nullptr && valid[x * grid.step] == 0)) continue;
      light[x] = static_cast<float>(map.ring_level[map.RingOf(from_centre)]);
    }
  }
  grid.held = cv::Mat::zeros(size, CV_8UC1);
  grid.beside_lines = cv::Mat::zeros(size, CV_8UC1);
  const cv::Rect whole({0, 0}, size);
  for (const Region& region : regions) {
    for (const cv::Point& cell : region.cells) {
      const cv::Point p = cell / grid.step;
      if (!whole.contains(p)) continue;
      grid.held.at<std::uint8_t>(p) = 255;
      if (region.is_line) grid.beside_lines.at<std::uint8_t>(p) = 255;
    }
  }
  grid.beside_lines = Widened(grid.beside_lines, DiscOf(kLinesReachUm / grid.um));
  return grid;
}

constexpr int kLightTerms = 6;

// The light is smooth: a parabola of the place. Places run from -1 to 1 along the longer side.
struct Light {
  double unit = 1.0;
  std::array<double, kLightTerms> part{};

  [[nodiscard]] double Place(int at) const { return at / unit - 1.0; }
  // The terms of the place (u, v), in the order of the parts.
  [[nodiscard]] static std::array<double, kLightTerms> Terms(double u, double v) {
    return {1.0, u, v, u * u, u * v, v * v};
  }
};

// Takes the light off a row of cells; where none is seen, nothing.
//   u   the places of its cells
ENDGRADE_WIDE void TakeOffRow(const Light& light,
                              const double* __restrict u,
                              double v,
                              const float* __restrict seen,
                              int count,
                              float* __restrict smooth,
                              float* __restrict height) {
  const auto [one, by_u, by_v, by_uu, by_uv, by_vv] = light.part;
  for (int x = 0; x < count; ++x) {
    const double sum =
        one + u[x] * by_u + v * by_v + u[x] * u[x] * by_uu + u[x] * v * by_uv + v * v * by_vv;
    const float off = seen[x] > 0 ? static_cast<float>(sum) : 0.0F;
    smooth[x] -= off;
    height[x] -= off;
  }
}

// A film large enough bends the clean face towards itself. This is a stiffer one, that looks away
// from anything as deep as a film.
void TakeOffLight(Grid* grid) {
  constexpr double kTukey = 2.5;
  constexpr double kLeastScale = 0.5;  // luma units
  constexpr int kEvery = 3;            // cells
  const cv::Size size = grid->smooth.size();
  Light light;
  light.unit = 0.5 * std::max(size.height, size.width);
  std::vector<double> rows;
  std::vector<double> values;
  rows.reserve(kLightTerms * grid->smooth.total() / (kEvery * kEvery));
  values.reserve(grid->smooth.total() / (kEvery * kEvery));
  for (int y = 0; y < size.height; y += kEvery) {
    const auto* seen = grid->light.ptr<float>(y);
    const auto* smooth = grid->smooth.ptr<float>(y);
    for (int x = 0; x < size.width; x += kEvery) {
      if (seen[x] <= 0) continue;
      const auto row = Light::Terms(light.Place(x), light.Place(y));
      rows.insert(rows.end(), row.begin(), row.end());
      values.push_back(static_cast<double>(smooth[x]));
    }
  }
  const std::vector<double> weights(values.size(), 1.0);
  const std::vector<double> fit =
      FitRobust(rows, values, weights, kLightTerms, kLeastScale, kTukey);
  std::copy_n(fit.begin(), kLightTerms, light.part.begin());
  std::vector<double> u;
  for (int x = 0; x < size.width; ++x) u.push_back(light.Place(x));
  for (int y = 0; y < size.height; ++y) {
    TakeOffRow(light,
               u.data(),
               light.Place(y),
               grid->light.ptr<float>(y),
               size.width,
               grid->smooth.ptr<float>(y),
               grid->height.ptr<float>(y));
  }
}

ENDGRADE_WIDE void MarkHigh(const float* __restrict smooth,
                            const float* __restrict light,
                            float sign,
                            float least,
                            int count,
                            std::uint8_t* __restrict mask) {
  for (int x = 0; x < count; ++x) {
    const bool high =
        (light[x] > 0) & (sign * smooth[x] > std::max(least, kLeastHeight * light[x]));
    mask[x] = high ? 255 : 0;
  }
}

// What stands out by its share of the light, and by `least` luma units, in compact patches.
cv::Mat Compact(const Grid& grid, float sign, float least) {
  cv::Mat mask(grid.smooth.size(), CV_8UC1);
  for (int y = 0; y < mask.rows; ++y) {
    MarkHigh(grid.smooth.ptr<float>(y),
             grid.light.ptr<float>(y),
             sign,
             least,
             mask.cols,
             mask.ptr<std::uint8_t>(y));
  }
  // Scratches side by side are no film.
  mask.setTo(0, grid.beside_lines);
  if (cv::countNonZero(mask) == 0) return mask;
  const std::vector<int> small = DiscOf(0.5 * kOpeningUm / grid.um);
  const std::vector<int> large = DiscOf(kOpeningUm / grid.um);
  // Specks of grain on it first, then what hangs on it.
  const cv::Mat closed = Narrowed(Widened(mask, small), small);
  return Widened(Narrowed(closed, large), large);
}

// Of the border: how high its step is, and how much of it shows one.
struct Border {
  double step = 0;   // mean, luma units
  double shows = 0;  // share of the pieces
  double seen = 0;   // share of its length that is not where the search ends
};

Border BorderOf(const Grid& grid,
                const cv::Mat& mask,
                const std::vector<cv::Point>& contour,
                float sign,
                double depth) {
  cv::Mat soft;
  mask.convertTo(soft, CV_32F, 1.0 / 255.0);
  cv::GaussianBlur(soft, soft, cv::Size(), 2.0);
  const auto a_piece = static_cast<std::size_t>(std::max(3.0, kPieceUm / grid.um));
  std::vector<double> steps;
  for (const cv::Point& p : contour) {
    const cv::Rect inner(3, 3, soft.cols - 6, soft.rows - 6);
    if (!inner.contains(p) || grid.light.at<float>(p) <= 0) continue;
    const cv::Point2d up(
        static_cast<double>(soft.at<float>(p.y, p.x + 1) - soft.at<float>(p.y, p.x - 1)),
        static_cast<double>(soft.at<float>(p.y + 1, p.x) - soft.at<float>(p.y - 1, p.x)));
    const double length = std::hypot(up.x, up.y);
    const cv::Point2d inwards = length > 1e-6 ? up * (1.0 / length) : cv::Point2d();
    double step = 0;
    bool told = length > 1e-6;
    for (const double off : {1.0, 2.0, 3.0}) {
      const cv::Point2d away = inwards * (off / grid.um);
      const cv::Point outside(cvRound(p.x - away.x), cvRound(p.y - away.y));
      told = told && cv::Rect({0, 0}, grid.light.size()).contains(outside) &&
             grid.light.at<float>(outside) > 0;
      step += (SampleAt(grid.height, cv::Point2d(p) + away) -
               SampleAt(grid.height, cv::Point2d(p) - away)) /
              3.0;
    }
    if (told) steps.push_back(static_cast<double>(sign) * step);
  }
  Border border;
  border.seen = static_cast<double>(steps.size()) / static_cast<double>(contour.size());
  std::size_t pieces = 0;
  std::size_t shown = 0;
  double sum = 0;
  for (std::size_t from = 0; from + a_piece <= steps.size(); from += a_piece) {
    double piece = 0;
    for (std::size_t i = from; i < from + a_piece; ++i) piece += steps[i];
    piece /= static_cast<double>(a_piece);
    ++pieces;
    shown += piece > kPieceStep * depth ? 1 : 0;
    sum += piece;
  }
  if (pieces == 0) return border;
  border.step = sum / static_cast<double>(pieces);
  border.shows = static_cast<double>(shown) / static_cast<double>(pieces);
  return border;
}

Region RegionOf(const Grid& grid, const cv::Mat& mask, const std::vector<cv::Point>& contour) {
  Region region;
  std::vector<cv::Point> cells;
  cv::findNonZero(mask, cells);
  for (const cv::Point& cell : cells) {
    for (int y = 0; y < grid.step; ++y) {
      for (int x = 0; x < grid.step; ++x) {
        region.cells.emplace_back(cell.x * grid.step + x, cell.y * grid.step + y);
      }
    }
  }
  for (const cv::Point& p : contour) region.edge.push_back(grid.MapCell(p));
  region.body_cells = region.cells.size();
  region.smoothing_cells = 0.3 * grid.step;
  region.in_focus = true;
  region.no_scratch = true;
  return region;
}

std::optional<Region> FilmIn(const ContrastMap& map,
                             const Grid& grid,
                             const std::vector<cv::Point>& contour,
                             float sign) {
  const double area = cv::contourArea(contour) * grid.um * grid.um;
  if (area < kLeastUm2) return std::nullopt;
  std::vector<cv::Point> hull;
  cv::convexHull(contour, hull);
  if (cv::contourArea(contour) < kLeastSolid * cv::contourArea(hull)) return std::nullopt;
  cv::Mat mask = cv::Mat::zeros(grid.smooth.size(), CV_8UC1);
  cv::drawContours(mask, std::vector<std::vector<cv::Point>>{contour}, 0, cv::Scalar(255), -1);
  const double share = cv::mean(grid.held, mask)[0] / 255.0;
  if (share > kHeldShare) return std::nullopt;
  const double height = static_cast<double>(sign) * cv::mean(grid.height, mask)[0];
  const double light = cv::mean(grid.light, mask & (grid.light > 0))[0];
  if (height < kLeastMean * light) return std::nullopt;
  const Border border = BorderOf(grid, mask, contour, sign, height);
  if (border.seen < kLeastSeen || border.shows < kLeastPieces ||
      border.step < kLeastStep * height) {
    return std::nullopt;
  }
  // Its border is half-way up.
  std::vector<std::vector<cv::Point>> halves;
  cv::findContours(Compact(grid, sign, static_cast<float>(0.5 * height)) & mask,
                   halves,
                   cv::RETR_EXTERNAL,
                   cv::CHAIN_APPROX_NONE);
  const auto largest =
      std::max_element(halves.begin(), halves.end(), [](const auto& a, const auto& b) {
        return cv::contourArea(a) < cv::contourArea(b);
      });
  if (largest == halves.end()) return std::nullopt;
  mask.setTo(0);
  cv::drawContours(mask, halves, static_cast<int>(largest - halves.begin()), cv::Scalar(255), -1);
  Region region = RegionOf(grid, mask, *largest);
  double most = 0;
  cv::Point peak;
  cv::minMaxLoc(grid.smooth * sign, nullptr, &most, nullptr, &peak, mask);
  region.peak = grid.MapCell(peak);
  region.depth = static_cast<double>(sign) * height;
  const float radius = map.radius_um.at<float>(cv::Point(region.peak));
  region.snr = height / std::max(1e-9, map.ring_noise[map.RingOf(radius)]);
  return region;
}

}  // namespace

std::vector<Region> SearchFilms(const ContrastMap& map, const std::vector<Region>& regions) {
  std::vector<Region> films;
  Grid grid = LayGrid(map, regions);
  if (grid.height.empty()) return films;
  cv::GaussianBlur(grid.height, grid.smooth, cv::Size(), kSmoothingUm / grid.um);
  TakeOffLight(&grid);
  for (const float sign : {-1.0F, 1.0F}) {
    std::vector<std::vector<cv::Point>> contours;
    cv::findContours(Compact(grid, sign, 0.0F), contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
    for (const auto& contour : contours) {
      if (auto film = FilmIn(map, grid, contour, sign)) films.push_back(*std::move(film));
    }
  }
  return films;
}

}  // namespace endgrade

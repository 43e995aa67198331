#include "detect/hair_pieces.h"

#include "detect/line_trace.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

// A hair: long, many times as long as it is thick, and plain. Not a ring, as droplets leave them.
constexpr double kLeastHairUm = 25.0;
constexpr double kThinnestUm = 2.0;
constexpr double kThickestUm = 45.0;
constexpr double kLeastSlender = 4.0;   // length over thickness
constexpr double kLeastDepth = 0.08;    // of the glass
constexpr double kMostWithHoles = 1.5;  // area with its holes over its own

// A piece of it is slender, too: a speck beside a hair is not of it.
constexpr double kLeastPieceUm = 5.0;
constexpr double kLeastPieceSlender = 2.5;
constexpr double kLeastPieceDepth = 0.2;  // of the hair's
constexpr double kBeside = 0.3;           // of a piece's border: faces the hair
constexpr double kFacing = 0.8;           // of the hair's thickness: so wide do two ends meet
// A line that is a hair's flank, or that goes on where it stops.
constexpr double kAlong = 0.5;       // of its length
constexpr double kFlank = 0.3;       // of the hair's thickness: so far off its border
constexpr double kMostOfHair = 1.1;  // of the hair's length
constexpr double kWideLineUm = 2.5;
constexpr double kLikeThickness = 2.0;

double LongSide(const std::vector<cv::Point2f>& points) {
  const cv::RotatedRect box = cv::minAreaRect(points);
  return static_cast<double>(std::max(box.size.width, box.size.height));
}

// A region as a band of some thickness, however it bends.
struct Shape {
  double thickness = 0;
  double length = 0;

  [[nodiscard]] double Slender() const { return length / thickness; }
};

Shape ShapeOf(const Region& region) {
  const cv::Rect tight = cv::boundingRect(region.cells);
  // With nothing of the region's all around.
  cv::Mat inwards = cv::Mat::zeros(tight.height + 2, tight.width + 2, CV_8UC1);
  const cv::Point corner = tight.tl() - cv::Point(1, 1);
  for (const cv::Point& cell : region.cells) inwards.at<uchar>(cell - corner) = 255;
  cv::distanceTransform(inwards, inwards, cv::DIST_L2, cv::DIST_MASK_5);
  double deepest = 0;
  cv::minMaxLoc(inwards, nullptr, &deepest);
  Shape shape;
  shape.thickness = std::max(1.0, 2.0 * deepest - 1.0);
  shape.length = static_cast<double>(region.cells.size()) / shape.thickness;
  return shape;
}

// Where a region's cells lie, and a margin around them.
struct Cutout {
  cv::Rect box;     // of the map
  cv::Mat outside;  // CV_8UC1: 0 on the region's cells, 255 elsewhere
};

Cutout CutOut(const ContrastMap& map, const Region& region, double reach) {
  Cutout cutout;
  const int margin = static_cast<int>(std::ceil(reach)) + 2;
  const cv::Rect tight = cv::boundingRect(region.cells);
  cutout.box =
      cv::Rect(
          tight.x - margin, tight.y - margin, tight.width + 2 * margin, tight.height + 2 * margin) &
      cv::Rect(0, 0, map.level.cols, map.level.rows);
  cutout.outside = cv::Mat(cutout.box.size(), CV_8UC1, cv::Scalar(255));
  for (const cv::Point& cell : region.cells) cutout.outside.at<uchar>(cell - cutout.box.tl()) = 0;
  return cutout;
}

// Area over the region's own.
double WithHoles(const ContrastMap& map, const Region& region) {
  const cv::Mat outside = CutOut(map, region, 0.0).outside;
  cv::floodFill(outside, {0, 0}, cv::Scalar(1));  // the margin, unless the map ends there
  return static_cast<double>(cv::countNonZero(outside != 1)) /
         static_cast<double>(region.cells.size());
}

// How far the cells around a region are from it.
struct Surroundings {
  cv::Rect box;      // of the map
  cv::Mat distance;  // CV_32FC1: cells to the nearest of the region's, 0 on them

  // Whether a place, in cells of the map, is as near as that.
  [[nodiscard]] bool IsNear(cv::Point2d at, double reach) const {
    const cv::Point cell(cvRound(at.x), cvRound(at.y));
    return box.contains(cell) && static_cast<double>(distance.at<float>(cell - box.tl())) <= reach;
  }
};

Surroundings Around(const ContrastMap& map, const Region& region, double reach) {
  const Cutout cutout = CutOut(map, region, reach);
  Surroundings around;
  around.box = cutout.box;
  cv::distanceTransform(cutout.outside, around.distance, cv::DIST_L2, cv::DIST_MASK_5);
  return around;
}

bool IsHair(const ContrastMap& map, const Region& region, const Shape& shape) {
  const double um = map.um_per_cell;
  return shape.thickness * um >= kThinnestUm && shape.thickness * um <= kThickestUm &&
         shape.length * um >= kLeastHairUm && shape.Slender() >= kLeastSlender &&
         WithHoles(map, region) <= kMostWithHoles;
}

// Whether the face is clean between the hair and what lies beside it: two flanks of one hair have
// its lit middle between them, two scratches nothing.
bool IsCleanBetween(const ContrastMap& map,
                    const Region& piece,
                    const Region& hair,
                    const Surroundings& around,
                    double reach) {
  constexpr double kLitMiddle = 0.15;  // of the hair's depth, of the other sign
  if (piece.depth * hair.depth <= 0) return false;
  const Surroundings own = Around(map, piece, reach);
  const cv::Rect both = around.box & own.box;
  double sum = 0;
  int count = 0;
  for (int y = both.y; y < both.br().y; ++y) {
    for (int x = both.x; x < both.br().x; ++x) {
      const auto to_hair =
          static_cast<double>(around.distance.at<float>(y - around.box.y, x - around.box.x));
      const auto to_piece =
          static_cast<double>(own.distance.at<float>(y - own.box.y, x - own.box.x));
      if (to_hair <= 0 || to_piece <= 0 || to_hair > reach || to_piece > reach) continue;
      sum += static_cast<double>(map.residual.at<float>(y, x));
      ++count;
    }
  }
  return count > 0 && sum / count * hair.depth > -kLitMiddle * hair.depth * hair.depth;
}

// Lies along the hair, or meets its end as wide as that is.
bool IsPieceOf(const ContrastMap& map,
               const Region& piece,
               const Region& hair,
               const Shape& shape,
               const Surroundings& around,
               double reach) {
  if (std::abs(piece.depth) < kLeastPieceDepth * std::abs(hair.depth)) return false;
  std::vector<cv::Point2f> near;
  for (const cv::Point2f& at : piece.edge) {
    if (around.IsNear(cv::Point2d(at), reach)) near.push_back(at);
  }
  if (near.empty() || LongSide(piece.edge) * map.um_per_cell < kLeastPieceUm) return false;
  if (ShapeOf(piece).Slender() < kLeastPieceSlender) return false;
  const bool beside =
      static_cast<double>(near.size()) >= kBeside * static_cast<double>(piece.edge.size());
  if (beside && IsCleanBetween(map, piece, hair, around, reach)) return false;
  return beside || LongSide(near) >= kFacing * shape.thickness;
}

bool IsLineOf(const ContrastMap& map,
              const Region& line,
              const Region& hair,
              const Shape& shape,
              const Surroundings& around,
              double reach) {
  const std::vector<cv::Point2d> spine = Resample(line.spine, 1.0);
  if (spine.size() < 2) return false;
  const double half = 0.5 * line.line_width_cells + kFlank * shape.thickness;
  const auto length = static_cast<double>(spine.size());
  const auto along =
      static_cast<double>(std::count_if(spine.begin(), spine.end(), [&](const cv::Point2d& at) {
        return around.IsNear(at, half + reach);
      }));
  if (along >= kAlong * length && length <= kMostOfHair * shape.length) {
    return !IsCleanBetween(map, line, hair, around, reach);
  }
  const double width = std::hypot(line.line_width_cells, 2.0 * map.blur_sigma_cells);
  if (line.line_width_cells * map.um_per_cell < kWideLineUm) return false;
  if (width * kLikeThickness < shape.thickness || width > kLikeThickness * shape.thickness) {
    return false;
  }
  return around.IsNear(spine.front(), reach) || around.IsNear(spine.back(), reach);
}

void Absorb(Region&& piece, Region* hair) {
  if (piece.is_line) piece.edge.assign(piece.cells.begin(), piece.cells.end());
  hair->cells.insert(hair->cells.end(), piece.cells.begin(), piece.cells.end());
  hair->edge.insert(hair->edge.end(), piece.edge.begin(), piece.edge.end());
  hair->smoothing_cells = std::max(hair->smoothing_cells, piece.smoothing_cells);
  hair->snr = std::max(hair->snr, piece.snr);
  hair->no_scratch = true;
  if (std::abs(piece.depth) > std::abs(hair->depth)) {
    hair->depth = piece.depth;
    hair->peak = piece.peak;
  }
}

}  // namespace

void JoinHairPieces(const ContrastMap& map,
                    std::vector<Region>* lines,
                    std::vector<Region>* regions) {
  // Half heights of a middle and of a flank lie up to two sigma of blur apart.
  const double reach = 2.0 + 2.0 * map.blur_sigma_cells;
  const auto least_cells =
      static_cast<size_t>(kLeastHairUm * kThinnestUm / (map.um_per_cell * map.um_per_cell));
  for (size_t i = 0; i < regions->size(); ++i) {
    if ((*regions)[i].cells.size() < least_cells) continue;
    if (std::abs((*regions)[i].depth) < kLeastDepth * map.glass_level) continue;
    Shape shape = ShapeOf((*regions)[i]);
    if (!IsHair(map, (*regions)[i], shape)) continue;
    Surroundings around = Around(map, (*regions)[i], reach);
    for (bool grown = true; grown;) {
      grown = false;
      const auto take_in = [&](std::vector<Region>* from, auto is_piece) {
        for (size_t j = 0; j < from->size(); ++j) {
          Region& hair = (*regions)[i];
          if (&(*from)[j] == &hair || !is_piece((*from)[j], hair)) continue;
          Absorb(std::move((*from)[j]), &hair);
          from->erase(from->begin() + static_cast<std::ptrdiff_t>(j));
          if (from == regions && j < i) --i;
          --j;
          grown = true;
        }
      };
      take_in(regions, [&](const Region& piece, const Region& hair) {
        return IsPieceOf(map, piece, hair, shape, around, reach);
      });
      take_in(lines, [&](const Region& line, const Region& hair) {
        return IsLineOf(map, line, hair, shape, around, reach);
      });
      // As thick as it was: what was taken in beside it has made it wider, not another thing.
      if (grown) {
        shape.length = ShapeOf((*regions)[i]).length;
        around = Around(map, (*regions)[i], reach);
      }
    }
  }
}

}  // namespace endgrade

#include "detect/join_strips.h"

#include "detect/line_trace.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>
#include <utility>

namespace endgrade {
namespace {

// What lies alongside: a middle and a flank are of opposite sign and nearly as strong as one
// another. Wide scratches that cross touch over a stretch, too, but not over most of their length.
constexpr double kLeastLengthUm = 15.0;
constexpr double kAlongShare = 0.6;  // of the shorter one's length
constexpr double kLikeDepth = 2.5;   // ratio of depths

// Together as wide as a hair: two scratches beside one another seldom are.
constexpr double kHairUm = 5.0;

// The end of a bent hair is found as a patch that is no strip by itself, as wide as the hair.
constexpr double kLeastPatch = 1.3;  // its reach over the strip's width
constexpr double kMostPatch = 4.0;

// What goes on: end to end, of the same make.
constexpr double kLeastSlender = 4.0;  // length over width
constexpr double kLikeWidth = 2.2;     // ratio of widths
constexpr double kLikeDepthOn = 2.0;   // ratio of depths
constexpr double kAtEnd = 1.5;         // of both widths: a touch farther from an end is no going on
constexpr double kLeastOnUm = 20.0;    // of a region; a shorter one may be a speck on a scratch
// Thinner than that they are a crack's legs, which touch and are alike, or scratches that stop by
// one another.
constexpr double kThickUm = 3.0;
constexpr double kLikeThin = 1.6;  // ratio of depths, and of widths

constexpr double kTouchUm = 0.8;  // two that touch are no farther apart
constexpr double kGapUm = 2.5;    // from end to end, as at the rim's edge

struct Piece {
  const Region* region = nullptr;
  size_t place = 0;  // among the lines and the regions after them
  cv::Rect box;
  double length = 0;  // cells
  double width = 0;   // cells
};

bool IsLong(const Piece& piece, double um_per_cell) {
  return piece.length * um_per_cell >= kLeastLengthUm;
}

bool IsSlender(const Piece& piece) { return piece.length >= kLeastSlender * piece.width; }

double Ratio(double a, double b) {
  const double low = std::min(std::abs(a), std::abs(b));
  return low > 0 ? std::max(std::abs(a), std::abs(b)) / low : 1e9;
}

cv::Rect Around(const cv::Rect& box, int reach) {
  const cv::Point spread(reach, reach);
  return {box.tl() - spread, box.br() + spread};
}

// Half of its border is a strip's length, whichever way it bends.
Piece Measure(const Region& region, size_t place) {
  Piece piece;
  piece.region = &region;
  piece.place = place;
  piece.box = cv::boundingRect(region.cells);
  cv::Mat mask = cv::Mat::zeros(piece.box.height + 2, piece.box.width + 2, CV_8UC1);
  const cv::Point corner = piece.box.tl() - cv::Point(1, 1);
  for (const cv::Point& cell : region.cells) mask.at<uchar>(cell - corner) = 1;
  int border = 0;
  int area = 0;
  for (int y = 1; y + 1 < mask.rows; ++y) {
    const auto* up = mask.ptr<uchar>(y - 1);
    const auto* row = mask.ptr<uchar>(y);
    const auto* down = mask.ptr<uchar>(y + 1);
    for (int x = 1; x + 1 < mask.cols; ++x) {
      if (!row[x]) continue;
      ++area;
      border += !(up[x] && down[x] && row[x - 1] && row[x + 1]);
    }
  }
  piece.length = std::max(1.0, 0.5 * border);
  piece.width = area / piece.length;
  return piece;
}

// Where one piece borders on another.
struct Contact {
  int cells = 0;  // of the one, in the band that surrounds the other
  cv::Point2d sum;
};

class Contacts {
 public:
  Contacts(cv::Size size, const std::vector<Piece>& pieces, int reach) {
    const cv::Rect whole({0, 0}, size);
    std::vector<size_t> near_others;
    cv::Rect part;  // of the map: all around those
    for (size_t i = 0; i < pieces.size(); ++i) {
      const cv::Rect around = Around(pieces[i].box, reach);
      for (size_t j = 0; j < pieces.size(); ++j) {
        if (i == j || (around & pieces[j].box).empty()) continue;
        near_others.push_back(i);
        part |= around & whole;
        break;
      }
    }
    // Which piece has a cell: the last of those that do.
    cv::Mat owner(part.size(), CV_32SC1, cv::Scalar(-1));
    for (const size_t i : near_others) {
      for (const cv::Point& cell : pieces[i].region->cells) {
        owner.at<int>(cell - part.tl()) = static_cast<int>(i);
      }
    }
    for (const size_t i : near_others) {
      const cv::Rect box = Around(pieces[i].box, reach) & whole;
      cv::Mat own = cv::Mat::zeros(box.size(), CV_8UC1);
      for (const cv::Point& cell : pieces[i].region->cells) own.at<uchar>(cell - box.tl()) = 1;
      cv::Mat near;
      cv::dilate(own, near, cv::Mat::ones(2 * reach + 1, 2 * reach + 1, CV_8UC1));
      for (int y = 0; y < near.rows; ++y) {
        const auto* band = near.ptr<uchar>(y);
        const auto* inside = own.ptr<uchar>(y);
        const int* at = owner.ptr<int>(box.y - part.y + y) + box.x - part.x;
        for (int x = 0; x < near.cols; ++x) {
          if (!band[x] || inside[x] || at[x] < 0) continue;
          const std::pair<size_t, size_t> key(i, at[x]);
          Contact& contact = contacts_[key];
          ++contact.cells;
          contact.sum += cv::Point2d(box.x + x, box.y + y);
        }
      }
    }
  }

  // Cells of b in the band around a.
  [[nodiscard]] Contact Of(size_t a, size_t b) const {
    const auto found = contacts_.find({a, b});
    return found == contacts_.end() ? Contact{} : found->second;
  }

 private:
  std::map<std::pair<size_t, size_t>, Contact> contacts_;  // few of all pairs meet
};

double SquaredDistance(cv::Point2d p, cv::Point2d q) { return (p - q).dot(p - q); }

// Of a point from the nearest cell that a box may hold.
double SquaredDistance(cv::Point2d p, const cv::Rect& box) {
  const cv::Point last = box.br() - cv::Point(1, 1);
  return SquaredDistance(
      p,
      cv::Point2d(std::clamp(p.x, static_cast<double>(box.x), static_cast<double>(last.x)),
                  std::clamp(p.y, static_cast<double>(box.y), static_cast<double>(last.y))));
}

// Both flanks of a strip whose middle is as bright as what lies around it: a line that runs beside
// a region of its own sign and depth all its length.
constexpr double kFlankShare = 0.8;   // of the line's length
constexpr double kMostBetween = 1.5;  // of both widths

bool IsOtherFlank(const Piece& line, const Piece& region) {
  if (!line.region->is_line || region.region->is_line) return false;
  if (line.region->depth * region.region->depth < 0) return false;
  if (Ratio(line.region->depth, region.region->depth) > kLikeDepthOn) return false;
  if (region.length < line.length || Ratio(line.width, region.width) > kLikeWidth) return false;
  const double far = kMostBetween * (line.width + region.width);
  if ((Around(line.box, static_cast<int>(far) + 1) & region.box).empty()) return false;
  const double upon = 0.3 * line.width;
  const std::vector<cv::Point2d> spine = Resample(line.region->spine, 2.0);
  const double wanted = kFlankShare * static_cast<double>(spine.size());
  size_t beside = 0;
  for (size_t i = 0; i < spine.size(); ++i) {
    if (static_cast<double>(beside + spine.size() - i) < wanted) return false;
    if (SquaredDistance(spine[i], region.box) >= far * far) continue;
    double nearest = 1e18;
    for (const cv::Point& cell : region.region->cells) {
      nearest = std::min(nearest, SquaredDistance(spine[i], cell));
      if (nearest <= upon * upon) break;
    }
    beside += nearest > upon * upon && nearest < far * far;
  }
  return static_cast<double>(beside) >= wanted;
}

class Groups {
 public:
  explicit Groups(size_t count) : parent_(count) {
    std::iota(parent_.begin(), parent_.end(), size_t{0});
  }
  size_t Of(size_t i) const {
    while (parent_[i] != i) i = parent_[i];
    return i;
  }
  size_t Add() {
    parent_.push_back(parent_.size());
    return parent_.size() - 1;
  }
  void Join(size_t a, size_t b) {
    const size_t one = Of(a);
    const size_t other = Of(b);
    parent_[std::max(one, other)] = std::min(one, other);
  }

 private:
  std::vector<size_t> parent_;
};

// Side by side all along the shorter one: never upon one another, never far apart.
bool AreParallel(const Region& a, const Region& b) {
  const bool a_is_longer = a.spine.size() >= b.spine.size();
  const std::vector<cv::Point2d> longer = Resample((a_is_longer ? a : b).spine, 2.0);
  const std::vector<cv::Point2d> shorter = Resample((a_is_longer ? b : a).spine, 2.0);
  const double apart = 0.5 * (a.line_width_cells + b.line_width_cells);
  const double closest = 0.6 * apart;
  const double farthest = 1.6 * apart + 2.0;
  size_t beside = 0;
  for (const cv::Point2d& p : shorter) {
    double nearest = 1e18;
    for (const cv::Point2d& q : longer) nearest = std::min(nearest, SquaredDistance(p, q));
    beside += nearest > closest * closest && nearest < farthest * farthest;
  }
  return static_cast<double>(beside) >= 0.8 * static_cast<double>(shorter.size());
}

bool LieAlongside(const Piece& a, const Piece& b, double along_cells, double um_per_cell) {
  if (a.region->depth * b.region->depth >= 0) return false;
  if (Ratio(a.region->depth, b.region->depth) > kLikeDepth) return false;
  if (a.region->is_line && b.region->is_line && !AreParallel(*a.region, *b.region)) return false;
  if ((a.width + b.width) * um_per_cell < kHairUm) return false;
  return along_cells >= kAlongShare * std::min(a.length, b.length);
}

// A line has two ends; where a region's are is not known.
bool AtEnd(const Piece& piece, cv::Point2d at, double reach) {
  if (!piece.region->is_line) return true;
  const auto near = [&](cv::Point2d end) { return std::hypot(at.x - end.x, at.y - end.y) < reach; };
  return near(piece.region->spine.front()) || near(piece.region->spine.back());
}

bool GoesOn(
    const Piece& a, const Piece& b, const Contact& contact, bool touch, double um_per_cell) {
  if (a.region->depth * b.region->depth < 0) return false;
  const double depths = Ratio(a.region->depth, b.region->depth);
  const double widths = Ratio(a.width, b.width);
  if (std::min(a.width, b.width) * um_per_cell < kThickUm) {
    if (!touch || depths > kLikeThin || widths > kLikeThin) return false;
  } else if (depths > kLikeDepthOn || widths > kLikeWidth) {
    return false;
  }
  const cv::Point2d at = contact.sum * (1.0 / contact.cells);
  const double reach = kAtEnd * (a.width + b.width);
  return AtEnd(a, at, reach) && AtEnd(b, at, reach);
}

// Whether `patch` lies at one end of the line and is of its make.
bool IsEndPatch(const Piece& patch, const Piece& line, cv::Point2d end, double um_per_cell) {
  const Region& region = *patch.region;
  if (region.depth * line.region->depth < 0) return false;
  if (Ratio(region.depth, line.region->depth) > kLikeDepthOn) return false;
  const double reach = std::max(patch.box.width, patch.box.height);
  if (reach < kLeastPatch * line.width || reach > kMostPatch * line.width) return false;
  const double touch = 0.5 * line.width + kGapUm / um_per_cell;
  return std::any_of(region.cells.begin(), region.cells.end(), [&](const cv::Point& cell) {
    return std::hypot(cell.x - end.x, cell.y - end.y) < touch;
  });
}

// A thick line with a patch of its make at either end, neither of which goes straight on (those are
// the line's already), is a hair that bends there.
std::vector<size_t> EndPatches(const Piece& line,
                               const std::vector<Piece>& patches,
                               double um_per_cell) {
  if (!line.region->is_line || line.width * um_per_cell < kThickUm) return {};
  std::vector<size_t> found;
  for (const cv::Point2d& end : {line.region->spine.front(), line.region->spine.back()}) {
    const auto patch = std::find_if(patches.begin(), patches.end(), [&](const Piece& each) {
      return IsEndPatch(each, line, end, um_per_cell);
    });
    if (patch == patches.end()) return {};
    found.push_back(static_cast<size_t>(patch - patches.begin()));
  }
  return found;
}

// The parts and what lies between them.
Region Together(const std::vector<const Region*>& parts, cv::Size size, int reach) {
  Region whole = *parts.front();
  for (const Region* part : parts) {
    if (std::abs(part->depth) > std::abs(whole.depth)) whole = *part;
  }
  std::vector<cv::Point> cells;
  bool no_scratch = false;
  for (const Region* part : parts) {
    cells.insert(cells.end(), part->cells.begin(), part->cells.end());
    whole.snr = std::max(whole.snr, part->snr);
    no_scratch = no_scratch || part->no_scratch;
  }
  const cv::Point spread(reach, reach);
  const cv::Rect inner = cv::boundingRect(cells);
  const cv::Rect box = cv::Rect(inner.tl() - spread, inner.br() + spread) & cv::Rect({0, 0}, size);
  cv::Mat mask = cv::Mat::zeros(box.size(), CV_8UC1);
  for (const cv::Point& cell : cells) mask.at<uchar>(cell - box.tl()) = 255;
  cv::morphologyEx(mask,
                   mask,
                   cv::MORPH_CLOSE,
                   cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * reach + 1, 2 * reach + 1}));
  whole.cells.clear();
  cv::findNonZero(mask, whole.cells);
  for (cv::Point& cell : whole.cells) cell += box.tl();
  whole.edge.assign(whole.cells.begin(), whole.cells.end());
  whole.no_scratch = no_scratch;
  whole.is_line = false;
  whole.spine.clear();
  whole.rimmed = false;
  whole.body_cells = whole.cells.size();
  return whole;
}

std::vector<Region> Without(const std::vector<bool>& gone, size_t from, std::vector<Region>* of) {
  std::vector<Region> kept;
  for (size_t i = 0; i < of->size(); ++i) {
    if (!gone[from + i]) kept.push_back(std::move((*of)[i]));
  }
  return kept;
}

}  // namespace

void JoinStrips(const ContrastMap& map, std::vector<Region>* lines, std::vector<Region>* regions) {
  const double um = map.um_per_cell;
  std::vector<Piece> pieces;   // strips
  std::vector<Piece> patches;  // the rest
  const auto take = [&](const std::vector<Region>& from, size_t first) {
    for (size_t i = 0; i < from.size(); ++i) {
      const Piece piece = Measure(from[i], first + i);
      (IsLong(piece, um) && IsSlender(piece) ? pieces : patches).push_back(piece);
    }
  };
  take(*lines, 0);
  take(*regions, lines->size());
  if (pieces.empty()) return;

  const int reach = std::max(1, cvRound(kTouchUm / um));
  const Contacts touches(map.level.size(), pieces, reach);
  Groups groups(pieces.size());
  std::vector<bool> hair(pieces.size(), false);
  for (size_t i = 0; i < pieces.size(); ++i) {
    for (size_t j = i + 1; j < pieces.size(); ++j) {
      const int cells = std::max(touches.Of(i, j).cells, touches.Of(j, i).cells);
      const double along = cells / static_cast<double>(reach);
      const bool beside = (cells > 0 && LieAlongside(pieces[i], pieces[j], along, um)) ||
                          IsOtherFlank(pieces[i], pieces[j]);  // lines come first
      if (!beside) continue;
      groups.Join(i, j);
      hair[i] = hair[j] = true;
    }
  }
  const Contacts gaps(map.level.size(), pieces, std::max(reach, cvRound(kGapUm / um)));
  const auto begins = [&](size_t i) {
    return hair[i] || (!pieces[i].region->is_line && pieces[i].length * um >= kLeastOnUm);
  };
  for (size_t i = 0; i < pieces.size(); ++i) {
    for (size_t j = i + 1; j < pieces.size(); ++j) {
      const Contact contact = gaps.Of(i, j);
      if (contact.cells == 0 || groups.Of(i) == groups.Of(j)) continue;
      if (!begins(i) && !begins(j)) continue;
      if (GoesOn(pieces[i], pieces[j], contact, touches.Of(i, j).cells > 0, um)) groups.Join(i, j);
    }
  }

  std::vector<bool> used(patches.size(), false);
  for (size_t i = 0, strips = pieces.size(); i < strips; ++i) {
    for (const size_t patch : EndPatches(pieces[i], patches, um)) {
      if (used[patch]) continue;
      used[patch] = true;
      pieces.push_back(patches[patch]);
      groups.Join(i, groups.Add());
    }
  }

  std::vector<bool> gone(lines->size() + regions->size(), false);
  std::vector<Region> hairs;
  for (size_t i = 0; i < pieces.size(); ++i) {
    if (groups.Of(i) != i) continue;
    std::vector<const Region*> parts;
    std::vector<size_t> members;
    for (size_t j = i; j < pieces.size(); ++j) {
      if (groups.Of(j) != i) continue;
      members.push_back(pieces[j].place);
      parts.push_back(pieces[j].region);
    }
    // Lines alone are the two sides of a wide scratch that the light strikes from one side.
    const bool lines_alone =
        std::all_of(parts.begin(), parts.end(), [](const Region* part) { return part->is_line; });
    if (parts.size() < 2 || lines_alone) continue;
    hairs.push_back(Together(parts, map.level.size(), reach));
    for (const size_t place : members) gone[place] = true;
  }
  *regions = Without(gone, lines->size(), regions);
  *lines = Without(gone, 0, lines);
  for (Region& region : hairs) regions->push_back(std::move(region));
}

}  // namespace endgrade

#include "detect/pieces.h"

#include "detect/groups.h"

#include <algorithm>
#include <limits>

namespace endgrade {
namespace {

struct RunsOfMask {
  std::vector<Run> runs;
  std::vector<std::size_t> first;  // by row: where its runs begin; one more
};

RunsOfMask AllRuns(const cv::Mat& mask) {
  RunsOfMask all;
  all.first.reserve(static_cast<std::size_t>(mask.rows) + 1);
  for (int y = 0; y < mask.rows; ++y) {
    all.first.push_back(all.runs.size());
    ForEachRun(mask, y, [&](const Run& run) { all.runs.push_back(run); });
  }
  all.first.push_back(all.runs.size());
  return all;
}

// Joins the runs of every row with those of the row above that they touch.
Groups JoinedRuns(const RunsOfMask& all, int corner) {
  Groups groups(all.runs.size());
  for (std::size_t y = 1; y + 1 < all.first.size(); ++y) {
    std::size_t above = all.first[y - 1];
    for (std::size_t i = all.first[y]; i < all.first[y + 1]; ++i) {
      const Run& run = all.runs[i];
      while (above < all.first[y] && all.runs[above].end + corner <= run.begin) ++above;
      for (std::size_t j = above; j < all.first[y] && all.runs[j].begin < run.end + corner; ++j) {
        groups.Join(i, j);
      }
    }
  }
  return groups;
}

}  // namespace

std::vector<MaskPiece> PiecesOf(const cv::Mat& mask, Touching touching) {
  const RunsOfMask all = AllRuns(mask);
  Groups groups = JoinedRuns(all, touching == Touching::kSidesAndCorners ? 1 : 0);
  constexpr std::size_t kNone = std::numeric_limits<std::size_t>::max();
  std::vector<std::size_t> place(all.runs.size(), kNone);
  std::vector<MaskPiece> pieces;
  for (std::size_t i = 0; i < all.runs.size(); ++i) {
    const Run& run = all.runs[i];
    const cv::Rect box(run.begin, run.y, run.end - run.begin, 1);
    std::size_t& at = place[groups.Find(i)];
    if (at == kNone) {
      at = pieces.size();
      pieces.push_back({box, 0, {}});
    }
    MaskPiece& piece = pieces[at];
    piece.box |= box;
    piece.area += box.width;
    piece.runs.push_back(run);
  }
  return pieces;
}

cv::Mat MaskOf(const MaskPiece& piece) {
  cv::Mat mask = cv::Mat::zeros(piece.box.size(), CV_8UC1);
  for (const Run& run : piece.runs) {
    auto* const row = mask.ptr<std::uint8_t>(run.y - piece.box.y);
    std::fill(row + run.begin - piece.box.x, row + run.end - piece.box.x, std::uint8_t{255});
  }
  return mask;
}

}  // namespace endgrade

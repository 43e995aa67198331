#include "endgrade/locate.h"
#include "locate/choose_cladding.h"
#include "locate/coarse_search.h"
#include "locate/core_fit.h"
#include "locate/level.h"
#include "locate/rim_refine.h"
#include "locate/ring_fit.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace endgrade {
namespace {

using locate::Cladding;
using locate::Level;
using locate::Rim;
using locate::Ring;

constexpr int kCoarseSide = 480;      // longest side of the first level that is searched, pixels
constexpr double kFromRadius = 20.0;  // of the circles looked for in one level, its pixels
constexpr double kToRadius = 42.0;
constexpr int kTries = 4;             // likeliest claddings that are measured before giving up
constexpr double kConvincing = 0.55;  // score beyond which no finer level is searched

std::string Number(double value) {
  char text[64];
  std::snprintf(text, sizeof text, "%g", value);
  return text;
}

Reason NoFibre(const std::string& what) { return {"no_fibre", what}; }

void SearchLevel(const Level& level, double from_radius, std::vector<Ring>* rings) {
  locate::CoarseSearch search;
  search.from_radius = from_radius;
  search.to_radius = kToRadius;
  for (const auto& guess : locate::VoteForCircles(level, search)) {
    if (const auto ring = locate::FitRing(level, guess, 0.2)) rings->push_back(*ring);
  }
}

// Levels finest first, each half as fine as the one before.
std::vector<Level> Halvings(Level first) {
  std::vector<Level> levels = {std::move(first)};
  while (std::min(levels.back().image.cols, levels.back().image.rows) >= 48) {
    levels.push_back(locate::HalveLevel(levels.back()));
  }
  return levels;
}

// Circles at every size, coarse levels first; finer ones only while nothing convinces.
std::vector<Cladding> FindCladdings(const Frame& frame,
                                    const LocateOptions& options,
                                    std::vector<Level>* levels) {
  const cv::Rect whole({0, 0}, frame.luma.size());
  const int longest = std::max(whole.width, whole.height);
  int factor = std::max(1, (longest + kCoarseSide - 1) / kCoarseSide);
  *levels = Halvings(locate::MakeLevel(frame.luma, frame.white_level, whole, factor));
  std::vector<Ring> rings;
  for (const Level& level : *levels) SearchLevel(level, kFromRadius, &rings);
  std::vector<Cladding> found = locate::ChooseCladding(*levels, rings);
  const double least = 0.5 * options.min_cladding_diameter_px;
  while (factor > 1 && kFromRadius * factor > least &&
         (found.empty() || found.front().doubtful || found.front().score < kConvincing)) {
    factor = std::max(1, factor / 2);
    levels->insert(levels->begin(),
                   locate::MakeLevel(frame.luma, frame.white_level, whole, factor));
    SearchLevel(levels->front(), kFromRadius, &rings);
    found = locate::ChooseCladding(*levels, rings);
  }
  return found;
}

FibreGeometry Describe(const Rim& rim, const Level& level) {
  FibreGeometry fibre;
  fibre.cladding = rim.frame.ToEllipse();
  fibre.cladding_radius_uncertainty_px = 2.0 * rim.radius_uncertainty_px;
  fibre.centre_uncertainty_px = 2.0 * rim.centre_uncertainty_px;
  if (const auto core = locate::FindCore(level, rim.frame)) fibre.core = core->ToEllipse();
  if (rim.ring_px) fibre.adhesive_radius_ratio = 1.0 + *rim.ring_px / rim.frame.Radius();
  fibre.rim_in_view_fraction = rim.in_view;
  fibre.rim_seen_fraction = rim.seen;
  fibre.blur_sigma_px = rim.sigma_px;
  fibre.rim_step = rim.step;
  return fibre;
}

}  // namespace

std::optional<std::string> LocateOptions::Problem() const {
  const auto outside = [](double value, double low, double high) {
    return !(value >= low && value <= high);
  };
  if (outside(min_cladding_diameter_px, 30.0, 4000.0)) {
    return "LocateOptions.min_cladding_diameter_px = " + Number(min_cladding_diameter_px) +
           ": must be within [30, 4000]";
  }
  if (outside(max_cladding_diameter_px, min_cladding_diameter_px, 4000.0)) {
    return "LocateOptions.max_cladding_diameter_px = " + Number(max_cladding_diameter_px) +
           ": must be within [min_cladding_diameter_px, 4000]";
  }
  if (outside(min_rim_seen_fraction, 0.2, 1.0)) {
    return "LocateOptions.min_rim_seen_fraction = " + Number(min_rim_seen_fraction) +
           ": must be within [0.2, 1]";
  }
  return std::nullopt;
}

Result<LocateOutcome> LocateFibre(const Frame& frame, const LocateOptions& options) {
  const std::string name = frame.path.string();
  if (auto problem = options.Problem()) return Error{ErrorKind::kBadOption, "", 0, *problem, ""};
  if (frame.luma.empty() || (frame.luma.type() != CV_8UC1 && frame.luma.type() != CV_16UC1)) {
    return Error{ErrorKind::kUnsupported,
                 name,
                 0,
                 "the picture has no brightness to look at",
                 "Save it as a grey or colour JPEG or PNG"};
  }
  std::vector<Level> levels;
  const std::vector<Cladding> claddings = FindCladdings(frame, options, &levels);
  int tries = 0;
  for (const Cladding& cladding : claddings) {
    if (tries++ == kTries) break;
    const double diameter = 2.0 * cladding.ring.frame.Radius();
    if (diameter < options.min_cladding_diameter_px ||
        diameter > options.max_cladding_diameter_px || cladding.doubtful) {
      continue;
    }
    const Level level = locate::RimLevel(frame.luma, frame.white_level, cladding.ring.frame);
    const auto nearer =
        locate::FitRing(level, {cladding.ring.frame, cladding.ring.polarity, 1.0}, 0.08);
    const auto rim = locate::RefineRim(level, nearer ? nearer->frame : cladding.ring.frame);
    if (!rim || rim->seen < options.min_rim_seen_fraction) continue;
    return LocateOutcome{Describe(*rim, level), std::nullopt};
  }
  return LocateOutcome{std::nullopt,
                       NoFibre("No cladding edge was found: bring the fibre into view and into "
                               "focus, and take the picture again.")};
}

}  // namespace endgrade

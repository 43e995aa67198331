#include "endgrade/locate.h"
#include "locate/core_fit.h"
#include "locate/core_search.h"
#include "locate/find_claddings.h"
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

constexpr int kTries = 6;  // likeliest claddings that are measured before giving up
constexpr double kLeastScore = 0.42;

std::string Number(double value) {
  char text[64];
  std::snprintf(text, sizeof text, "%g", value);
  return text;
}

Reason WhyNone(bool too_small, bool too_large) {
  if (too_small) {
    return {"no_fibre",
            "The fibre is too small in the picture to be graded: raise the magnification, and take "
            "the picture again."};
  }
  if (too_large) {
    return {"no_fibre",
            "The fibre is larger in the picture than is looked for: lower the magnification, and "
            "take the picture again."};
  }
  return {"no_fibre",
          "No cladding edge was found: bring the fibre into view and into focus, and take the "
          "picture again."};
}

constexpr double kUnsureCentrePx = 1.0;  // of a circle that is not refined yet

bool Acceptable(const Cladding& cladding) {
  // Darkness outside only puts it behind others.
  const double behind = cladding.dark_outside && !cladding.has_core ? locate::kDarkPenalty : 0.0;
  if (cladding.score + behind < kLeastScore) return false;
  if (cladding.has_core) return true;
  return !cladding.line && !cladding.like_mask && !cladding.domed;
}

bool HasCore(const Frame& frame, const Ellipse& cladding) {
  return locate::SearchCore(frame, cladding, kUnsureCentrePx).has_value();
}

// A strong line between two surfaces that are nearly alike, with a core in the middle of it.
bool IsFibreBehindLine(const Frame& frame, const Cladding& cladding) {
  if (!cladding.line || cladding.like_mask || cladding.domed) return false;
  if (cladding.score < kLeastScore) return false;
  return HasCore(frame, cladding.ring.frame.ToEllipse());
}

bool MayBeMultimode(const FibreGeometry& fibre) {
  return fibre.core && fibre.core->MeanRadius() > 0.3 * fibre.cladding.MeanRadius();
}

// On glass behind a line, which may be drawn, a droplet is the plainer circle. A core in the middle
// of the line tells which of the two is the fibre.
void PutFibreBeforeItsDirt(const Frame& frame, std::vector<Cladding>* claddings) {
  constexpr double kOffCentre = 0.1;  // of the line's radius
  if (claddings->empty()) return;
  const Cladding& first = claddings->front();
  const auto holds_it = [&](const Cladding& line) {
    const cv::Point2d off = first.ring.frame.centre - line.ring.frame.centre;
    const double apart = std::hypot(off.x, off.y);
    const double radius = line.ring.frame.Radius();
    return apart > kOffCentre * radius && apart + first.ring.frame.Radius() < radius;
  };
  const auto fibre = std::find_if(claddings->begin(), claddings->end(), [&](const Cladding& c) {
    return holds_it(c) && IsFibreBehindLine(frame, c);
  });
  if (fibre != claddings->end()) std::rotate(claddings->begin(), fibre, fibre + 1);
}

constexpr double kAlikeRadius = 0.1;

bool AreAlike(const Ellipse& a, const Ellipse& b) {
  return std::abs(a.MeanRadius() - b.MeanRadius()) < kAlikeRadius * b.MeanRadius();
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
  fibre.blur_fwhm_px = rim.fwhm_px;
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
  std::vector<Cladding> claddings =
      locate::FindCladdings(frame.luma, frame.white_level, 0.5 * options.min_cladding_diameter_px);
  PutFibreBeforeItsDirt(frame, &claddings);
  bool too_small = false;
  bool too_large = false;
  int tries = 0;
  for (const Cladding& cladding : claddings) {
    if (!Acceptable(cladding) && !IsFibreBehindLine(frame, cladding)) continue;
    const double diameter = 2.0 * cladding.ring.frame.Radius();
    too_small = too_small || diameter < options.min_cladding_diameter_px;
    too_large = too_large || diameter > options.max_cladding_diameter_px;
    if (diameter < options.min_cladding_diameter_px ||
        diameter > options.max_cladding_diameter_px) {
      continue;
    }
    if (tries++ == kTries) break;
    const Level level = locate::RimLevel(frame.luma, frame.white_level, cladding.ring.frame);
    const auto rim = locate::RefineRim(level, cladding.ring.frame);
    if (!rim || rim->seen < options.min_rim_seen_fraction) continue;
    // Drawn circles have nothing in their middle; a fibre nearly as bright as its ferrule has.
    if (rim->drawn && !HasCore(frame, rim->frame.ToEllipse())) continue;
    FibreGeometry fibre = Describe(*rim, level);
    const double unsure_px = fibre.centre_uncertainty_px;
    if (fibre.core && !locate::MayLieThere(*fibre.core, fibre.cladding, unsure_px)) {
      fibre.core.reset();
    }
    if (!fibre.core) {
      fibre.core = locate::SearchCore(frame, fibre.cladding, unsure_px);
    } else if (MayBeMultimode(fibre)) {
      // Light that changes slowly across the glass can look like a wide core's edge; it is believed
      // only where no narrow core contradicts it.
      const auto other = locate::SearchCore(frame, fibre.cladding, unsure_px);
      if (other && other->MeanRadius() < 0.5 * fibre.core->MeanRadius()) fibre.core = other;
      // A wide core's edge may be too soft for the fit of a ring.
      if (other && AreAlike(*other, *fibre.core)) {
        fibre.core->centre_px =
            locate::MoreAlikeAround(frame, fibre.cladding, *fibre.core, *other).centre_px;
      }
    }
    return LocateOutcome{fibre, std::nullopt};
  }
  return LocateOutcome{std::nullopt, WhyNone(too_small, too_large)};
}

std::optional<Ellipse> LocateCore(const Frame& frame,
                                  const Ellipse& cladding,
                                  double centre_uncertainty_px) {
  return locate::SearchCore(frame, cladding, centre_uncertainty_px);
}

}  // namespace endgrade

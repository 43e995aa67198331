#include "endgrade/locate.h"
#include "locate/core_fit.h"
#include "locate/core_search.h"
#include "locate/find_claddings.h"
#include "locate/level.h"
#include "locate/rim_refine.h"
#include "locate/ring_fit.h"
#include "locate/two_surfaces.h"

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

// Whether all but a few hot pixels lie within some grey levels of black.
bool IsNearlyBlack(const Frame& frame) {
  constexpr double kBlack = 16.0 / 255.0;  // of the white level
  constexpr int kHot = 1000;               // one pixel of so many may be
  const int bright = cv::countNonZero(frame.luma > kBlack * frame.white_level);
  return static_cast<std::size_t>(bright) <= frame.luma.total() / kHot;
}

Reason WhyNone(const Frame& frame, bool too_small, bool too_large) {
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
  if (IsNearlyBlack(frame)) {
    return {"no_fibre",
            "No cladding edge was found, and the picture is nearly black: give more light or a "
            "longer exposure, see that the fibre is in view, and take the picture again."};
  }
  return {"no_fibre",
          "No cladding edge was found: bring the fibre into view and into focus, and take the "
          "picture again."};
}

constexpr double kPlainStep = 2.0;       // luma units, of a core
constexpr double kUnsureCentrePx = 1.0;  // of a circle that is not refined yet

bool Acceptable(const Cladding& cladding) {
  // Darkness outside only puts it behind others.
  const double behind = cladding.dark_outside && !cladding.has_core ? locate::kDarkPenalty : 0.0;
  if (cladding.score + behind < kLeastScore) return false;
  if (cladding.has_core) return true;
  return !cladding.line && !cladding.like_mask && !cladding.domed;
}

// A bubble or a droplet: one border of its dark ring has light that falls towards it.
bool HasDomedPartner(const std::vector<Cladding>& all, const Cladding& line) {
  constexpr double kAlike = 1.25;       // ratio of radii
  constexpr double kSameCentre = 0.05;  // of the radius
  const double radius = line.ring.frame.Radius();
  return std::any_of(all.begin(), all.end(), [&](const Cladding& other) {
    const cv::Point2d off = other.ring.frame.centre - line.ring.frame.centre;
    const double ratio = other.ring.frame.Radius() / radius;
    return other.domed && std::hypot(off.x, off.y) < kSameCentre * radius && ratio < kAlike &&
           ratio > 1.0 / kAlike;
  });
}

bool PartsTwoSurfaces(const Level& level, const locate::RimFrame& circle) {
  return AreTwoSurfaces(locate::CompareSides(level, circle));
}

// A strong line between two surfaces that are nearly alike, with a core in the middle of it, or
// that differ in their grain.
bool IsFibreBehindLine(const Frame& frame,
                       const std::vector<Cladding>& all,
                       const Cladding& cladding) {
  if (!cladding.line || cladding.like_mask || cladding.domed || HasDomedPartner(all, cladding)) {
    return false;
  }
  if (cladding.score < kLeastScore) return false;
  const locate::RimFrame& rim = cladding.ring.frame;
  const bool has_core =
      cladding.parts ? locate::SearchCore(frame, rim.ToEllipse(), kUnsureCentrePx).has_value()
                     : locate::SearchPlainCore(frame, rim.ToEllipse(), kUnsureCentrePx, kPlainStep)
                           .has_value();
  return has_core || PartsTwoSurfaces(locate::RimLevel(frame.luma, frame.white_level, rim), rim);
}

bool MayBeMultimode(const FibreGeometry& fibre) {
  return fibre.core && fibre.core->MeanRadius() > 0.3 * fibre.cladding.MeanRadius();
}

// On glass behind a line, which may be drawn, a droplet is the plainer circle. A core in the middle
// of the line tells which of the two is the fibre.
void PutFibreBeforeItsDirt(const Frame& frame, std::vector<Cladding>* claddings) {
  constexpr double kOffCentre = 0.1;  // of the line's radius
  constexpr double kMostDirt = 0.35;  // of it, in radius: 44 um across
  if (claddings->empty()) return;
  const Cladding& first = claddings->front();
  const auto holds_it = [&](const Cladding& line) {
    const cv::Point2d off = first.ring.frame.centre - line.ring.frame.centre;
    const double apart = std::hypot(off.x, off.y);
    const double radius = line.ring.frame.Radius();
    return apart > kOffCentre * radius && first.ring.frame.Radius() < kMostDirt * radius &&
           apart + first.ring.frame.Radius() < radius;
  };
  const auto fibre = std::find_if(claddings->begin(), claddings->end(), [&](const Cladding& c) {
    return holds_it(c) && IsFibreBehindLine(frame, *claddings, c);
  });
  if (fibre != claddings->end()) std::rotate(claddings->begin(), fibre, fibre + 1);
}

// A narrow core, plain to see, in the middle of the circle.
bool HasNarrowCore(const Frame& frame, const Cladding& cladding) {
  constexpr double kNarrow = 0.12;  // of the cladding's radius
  constexpr double kTextures = 4.0;
  const Ellipse rim = cladding.ring.frame.ToEllipse();
  const double least_step = std::max(kPlainStep, kTextures * cladding.view.inside_texture);
  const auto core = locate::SearchPlainCore(frame, rim, kUnsureCentrePx, least_step);
  return core && core->MeanRadius() < kNarrow * rim.MeanRadius();
}

// Dark glass may be as dark as what is around the ferrule; a hole has no core.
void TellGlassFromHoles(const Frame& frame, std::vector<Cladding>* claddings) {
  for (Cladding& cladding : *claddings) {
    if (!cladding.like_hole || !HasNarrowCore(frame, cladding)) continue;
    cladding.score += locate::kHolePenalty;
    cladding.like_hole = false;
  }
  std::stable_sort(claddings->begin(), claddings->end(), [](const Cladding& a, const Cladding& b) {
    return a.score > b.score;
  });
}

// Where the ferrule's face ends in a chamfer or is lit no further, its border and the glass in it
// may have the ratio of a cladding and a wide core. If a narrow core is what is asked for, and the
// glass has one and differs from what is around it as no wide core does, the glass is the fibre.
void PutNarrowCoresFibreFirst(const Frame& frame,
                              const std::vector<double>& core_diameters_um,
                              std::vector<Cladding>* claddings) {
  constexpr double kLargestNarrowUm = 20.0;
  constexpr double kOffCentre = 0.04;  // of the border's radius
  constexpr double kLeastRatio = 0.3;
  constexpr double kMostRatio = 0.6;
  constexpr double kLeastGlassScore = 0.1;  // what looks like a core has lost half a point
  constexpr double kDarkest = 0.75;         // of its cladding: an unlit wide core
  constexpr double kBrightest = 1.35;
  constexpr double kRougher = 3.0;
  constexpr double kLeastTexture = 0.25;  // luma units
  const bool narrow =
      !core_diameters_um.empty() &&
      *std::max_element(core_diameters_um.begin(), core_diameters_um.end()) < kLargestNarrowUm;
  if (!narrow || claddings->empty()) return;
  const locate::RimFrame border = claddings->front().ring.frame;
  const auto glass = std::find_if(claddings->begin(), claddings->end(), [&](const Cladding& c) {
    const double ratio = c.ring.frame.Radius() / border.Radius();
    const cv::Point2d off = c.ring.frame.centre - border.centre;
    if (ratio < kLeastRatio || ratio > kMostRatio || c.line || c.score < kLeastGlassScore) {
      return false;
    }
    if (std::hypot(off.x, off.y) > kOffCentre * border.Radius()) return false;
    const locate::RingView& view = c.view;
    const double share = view.inside / std::max(1.0, view.outside);
    const bool rough =
        view.outside_texture > kRougher * std::max(kLeastTexture, view.inside_texture);
    if (share > kDarkest && share < kBrightest && !rough) return false;
    return HasNarrowCore(frame, c);
  });
  if (glass != claddings->end()) std::rotate(claddings->begin(), glass, glass + 1);
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
  TellGlassFromHoles(frame, &claddings);
  PutFibreBeforeItsDirt(frame, &claddings);
  PutNarrowCoresFibreFirst(frame, options.core_diameters_um, &claddings);
  bool too_small = false;
  bool too_large = false;
  int tries = 0;
  for (const Cladding& cladding : claddings) {
    if (!Acceptable(cladding) && !IsFibreBehindLine(frame, claddings, cladding)) continue;
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
    // Drawn circles have nothing in their middle, or lines that cross; a fibre nearly as bright as
    // its ferrule has a core, or is smooth where the ferrule is not.
    if (rim->drawn && !PartsTwoSurfaces(level, rim->frame) &&
        !locate::SearchPlainCore(
            frame, rim->frame.ToEllipse(), 2.0 * rim->centre_uncertainty_px, kPlainStep)) {
      continue;
    }
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
  return LocateOutcome{std::nullopt, WhyNone(frame, too_small, too_large)};
}

std::optional<Ellipse> LocateCore(const Frame& frame,
                                  const Ellipse& cladding,
                                  double centre_uncertainty_px) {
  return locate::SearchCore(frame, cladding, centre_uncertainty_px);
}

}  // namespace endgrade

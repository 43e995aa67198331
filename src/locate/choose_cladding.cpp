#include "locate/choose_cladding.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

constexpr double kDark = 40.0;         // luma units: below, it may be what lies behind a round mask
constexpr double kDarkShare = 0.6;     // of what is inside, or it is the ferrule of a dim picture
constexpr double kBlack = 10.0;        // luma units: behind a mask, at the most
constexpr double kBlackShare = 0.12;   // of what it leaves open, or this
constexpr double kHopeless = -0.1;     // quality of a coarse fit below which none is examined
constexpr double kRound = 0.003;       // scatter of a true rim, share of its radius
constexpr double kPixelScatter = 0.3;  // pixels of the level
constexpr size_t kMostExamined = 10;
constexpr double kExamineRadius = 45.0;  // in pixels of the level a ring is examined in

double Apart(const Ring& a, const Ring& b) {
  return std::hypot(a.frame.centre.x - b.frame.centre.x, a.frame.centre.y - b.frame.centre.y);
}

bool Between(double value, double low, double high) { return value > low && value < high; }

// What non-square pixels and tilt cannot do to a circle.
double OvalExcess(const Ring& ring) {
  const Ellipse e = ring.frame.ToEllipse();
  const double oval = (e.semi_major_px - e.semi_minor_px) / (e.semi_major_px + e.semi_minor_px);
  return std::max(0.0, oval - 0.035);
}

double Quality(const Ring& ring) {
  const double share = ring.seen / std::max(0.4, ring.in_view);
  const double clear = std::clamp(0.55 + 0.15 * ring.strength, 0.0, 1.0);
  // A third of a pixel is the pixels' own; a rim is rounder than 0.3 %, a stain is not.
  const double ragged = ring.scatter - kRound - kPixelScatter / ring.radius_in_level;
  return share * clear - 60.0 * std::max(0.0, ragged) - 30.0 * OvalExcess(ring);
}

// Of 125 um to 2.5 and to 1.25 mm.
bool LikeFibreInFerrule(double ratio) {
  return Between(ratio, 0.0485, 0.0515) || Between(ratio, 0.097, 0.103);
}

// Is `inner` what a core is to a cladding? Nominal ratios 0.4 and 0.5 (IEC 60793-2-10), 0.064 to
// 0.08 (mode field, ITU-T G.652): the steepest place of a lit mode field is half-way in. A fibre in
// a whole ferrule's face has just 0.1 or 0.05, which are left out.
// A round mask about the middle of the picture can have any ratio to the fibre in it.
bool LikeCore(const Cladding& inner, const Cladding& outer) {
  if (outer.like_mask) return false;
  const double outer_radius = outer.ring.frame.Radius();
  if (Apart(inner.ring, outer.ring) > 0.04 * outer_radius) return false;
  const double ratio = inner.ring.frame.Radius() / outer_radius;
  if (Between(ratio, 0.37, 0.43) || Between(ratio, 0.46, 0.54)) return true;
  return Between(ratio, 0.033, 0.095) && !(outer.dark_outside && LikeFibreInFerrule(ratio));
}

// Duplicates come from neighbouring levels and bands: the better one stays.
std::vector<Ring> Distinct(std::vector<Ring> rings, double alike) {
  std::stable_sort(rings.begin(), rings.end(), [](const Ring& a, const Ring& b) {
    return Quality(a) > Quality(b);
  });
  std::vector<Ring> kept;
  for (const Ring& ring : rings) {
    const bool known = std::any_of(kept.begin(), kept.end(), [&](const Ring& other) {
      const double radius = std::max(ring.frame.Radius(), other.frame.Radius());
      return ring.polarity == other.polarity && Apart(ring, other) < alike * radius &&
             std::abs(ring.frame.Radius() - other.frame.Radius()) < alike * radius;
    });
    if (!known) kept.push_back(ring);
  }
  return kept;
}

// A round mask lies about the middle of the picture, leaves most of it open and is black outside.
bool LikeMask(const Cladding& cladding, cv::Size picture) {
  // Behind a mask there is next to no light; a dark ferrule still shows some.
  const RingView& view = cladding.view;
  if (!cladding.dark_outside || view.outside > std::max(kBlack, kBlackShare * view.inside)) {
    return false;
  }
  const double shortest = std::min(picture.width, picture.height);
  const cv::Point2d off = cladding.ring.frame.centre -
                          cv::Point2d(0.5 * (picture.width - 1), 0.5 * (picture.height - 1));
  const double radius = cladding.ring.frame.Radius();
  return radius > 0.45 * shortest ||
         (radius > 0.3 * shortest && std::hypot(off.x, off.y) < 0.15 * shortest);
}

constexpr double kRoughest = 15.0;     // luma units: of a ferrule's grain; more is another edge
constexpr double kLeastRough = 3.0;    // times the glass's texture,
constexpr double kLeastTexture = 0.6;  // which rounding to whole grey levels leaves no lower

constexpr double kLeastNoise = 0.3;  // luma units
constexpr double kLeastStepNoises = 2.0;
constexpr double kLeastPeakNoises = 4.0;

// The same on both sides, as far as can be told: drawn, or a dried droplet. A ferrule much rougher
// than the glass in it is not what a drawn circle does.
bool IsLine(const RingView& view) {
  const double step = std::min(std::abs(view.step), std::abs(view.outside - view.inside));
  if (view.outside_texture > kLeastRough * std::max(kLeastTexture, view.inside_texture) &&
      view.outside_texture < kRoughest) {
    return false;
  }
  if (view.peak < 3.0 * step) return false;
  return step < 3.0 * view.step_noise || view.peak > 12.0 * step;
}

// Of a line that parts two surfaces which are not quite the same.
constexpr double kPartsNoises = 5.0;
constexpr double kPartsLeast = 3.0;  // luma units

// Where light that changes across the picture comes in whole grey levels, the border of one of them
// may be as round as a rim: it has no height. Some fibres are hardly brighter than their ferrule,
// but then a line parts the two.
bool IsNothing(const RingView& view) {
  const double noise = std::max(view.step_noise, kLeastNoise);
  return std::abs(view.step) < kLeastStepNoises * noise && view.peak < kLeastPeakNoises * noise;
}

// A level in which a circle of this radius is at least kExamineRadius pixels in radius, of the
// coarsest that will do; or that part of the picture.
std::optional<Level> LevelFor(const cv::Mat& luma,
                              double white_level,
                              const std::vector<Level>& levels,
                              const RimFrame& frame) {
  const double radius = frame.Radius();
  for (auto level = levels.rbegin(); level != levels.rend(); ++level) {
    if (radius / level->factor >= kExamineRadius) return *level;
  }
  const int factor = std::max(1, static_cast<int>(radius / kExamineRadius));
  const int reach = static_cast<int>(1.45 * radius) + 4 * factor;
  const cv::Point middle(frame.centre);
  const cv::Rect part = cv::Rect(middle.x - reach, middle.y - reach, 2 * reach, 2 * reach) &
                        cv::Rect({0, 0}, luma.size());
  if (part.width < 8 * factor || part.height < 8 * factor) return std::nullopt;
  return MakeLevel(luma, white_level, part, factor);
}

std::optional<Cladding> Examine(const cv::Mat& luma,
                                double white_level,
                                const std::vector<Level>& levels,
                                const Ring& coarse) {
  const auto level = LevelFor(luma, white_level, levels, coarse.frame);
  if (!level) return std::nullopt;
  const auto ring = FitRing(*level, {coarse.frame, coarse.polarity, 1.0}, 0.08, Care::kThorough);
  if (!ring || ring->seen < 0.25) return std::nullopt;
  Cladding cladding;
  cladding.ring = *ring;
  cladding.view = LookAtRing(*level, *ring);
  const RingView& view = cladding.view;
  if (IsNothing(view)) return std::nullopt;
  cladding.dark_outside = ring->polarity < 0 && view.outside < kDark &&
                          view.outside < kDarkShare * view.inside && view.outside_texture < 4.0;
  cladding.like_mask = LikeMask(cladding, luma.size());
  cladding.line = IsLine(view);
  cladding.parts = std::abs(view.step) > kPartsNoises * std::max(view.step_noise, kLeastNoise) &&
                   std::abs(view.outside - view.inside) > kPartsLeast;
  // Glass is evenly bright up to its rim; a ball or a lamp is not.
  cladding.domed = std::abs(view.inside_fall) > std::max(25.0, 0.5 * std::abs(view.step));
  cladding.score = Quality(*ring);
  return cladding;
}

// The two borders of a drawn circle: what one is, so is the other.
bool Partners(const Cladding& a, const Cladding& b) {
  const double ratio = a.ring.frame.Radius() / b.ring.frame.Radius();
  return a.ring.polarity != b.ring.polarity && Between(ratio, 0.8, 1.25) &&
         Apart(a.ring, b.ring) < 0.03 * a.ring.frame.Radius() &&
         Between(a.ring.strength / std::max(1.0, b.ring.strength), 0.5, 2.0);
}

// A droplet, or the round end of lint, is as round as the glass is, but not about the middle of
// another sound circle. Masks, and the borders of what is drawn, may have anything in them.
constexpr double kSound = 0.6;       // quality
constexpr double kOffCentre = 0.1;   // of the larger one's radius
constexpr double kSmallShare = 0.5;  // of it: across the rim of the glass nothing else is so small
constexpr double kFainterStep = 0.33;  // of the larger one's, each over its own noise
constexpr double kLikelyDirt = 0.3;

double StepOverNoise(const RingView& view) {
  return std::abs(view.step) / std::max(0.5, view.step_noise);
}

// Beside `glass`, on it, or across its rim.
bool LikeDirtBy(const Cladding& glass, const Cladding& dirt) {
  if (glass.like_mask || glass.dark_outside || glass.line || Quality(glass.ring) < kSound) {
    return false;
  }
  const double radius = glass.ring.frame.Radius();
  const double own_radius = dirt.ring.frame.Radius();
  const double apart = Apart(dirt.ring, glass.ring);
  if (apart <= kOffCentre * radius) return false;
  if (apart + own_radius < 1.02 * radius) return true;
  const bool across = apart < radius + own_radius;
  if (across && own_radius < kSmallShare * radius) return true;
  // What it is on either side of may differ by chance; by how much the glass does, is told best.
  return own_radius < radius && StepOverNoise(dirt.view) < kFainterStep * StepOverNoise(glass.view);
}

// A ring of something with a hole in it, against what lies behind: a washer, or a ferrule without a
// fibre seen from afar. What is in the hole is as dark as what is around.
constexpr double kSameCentre = 0.12;  // of the hole's radius
constexpr double kWidestRing = 8.0;   // over the hole's radius: a ferrule is at least ten times
constexpr double kSameDark = 0.1;     // of the ring's height over it
constexpr double kMostFall = 0.09;

bool IsHole(const Cladding& hole, const Cladding& border) {
  const double ratio = border.ring.frame.Radius() / hole.ring.frame.Radius();
  if (!Between(ratio, 1.25, kWidestRing) || Quality(border.ring) < kSound) return false;
  if (hole.ring.polarity * border.ring.polarity > 0) return false;
  if (Apart(hole.ring, border.ring) > kSameCentre * hole.ring.frame.Radius()) return false;
  const double height = std::min(hole.view.outside, border.view.inside) - border.view.outside;
  // Some wide cores are darker towards their middle.
  const bool flat = std::abs(hole.view.inside_fall) < kMostFall * height;
  return height > kDark && flat &&
         std::abs(hole.view.inside - border.view.outside) < kSameDark * height;
}

// An unlit core has nearly the brightness of its cladding.
constexpr double kDarkestCore = 0.65;  // of that

// Whether it is a border of such a ring, or another circle in what it covers.
bool LiesInRing(const std::vector<Cladding>& all, const Cladding& cladding) {
  for (const Cladding& border : all) {
    if (Apart(border.ring, cladding.ring) > border.ring.frame.Radius()) continue;
    for (const Cladding& hole : all) {
      const bool like_core =
          cladding.has_core && hole.view.inside > kDarkestCore * border.view.inside;
      if (!like_core && IsHole(hole, border)) return true;
    }
  }
  return false;
}

constexpr double kNarrowRatio = 9.0;  // of a cladding to a single-mode core, at the least

// What the other circles about the same centre make of it.
void Weigh(const std::vector<Cladding>& all, Cladding* cladding) {
  bool ferrule = false;
  bool ringed = false;
  bool like_dirt = false;
  for (const Cladding& other : all) {
    const double ratio = other.ring.frame.Radius() / cladding->ring.frame.Radius();
    const double other_quality = Quality(other.ring);
    const bool drawn = other.line || std::any_of(all.begin(), all.end(), [&](const Cladding& c) {
                         return c.line && Partners(c, other);
                       });
    if (ratio < 0.9 && other_quality > 0.4 && !drawn && LikeCore(other, *cladding)) {
      cladding->has_core = true;
    }
    ringed =
        ringed || (ratio > 1.0 && other_quality > 0.4 && !other.line && Partners(*cladding, other));
    if (other_quality > 0.4 && LikeFibreInFerrule(ratio) &&
        Apart(other.ring, cladding->ring) < 0.01 * cladding->ring.frame.Radius()) {
      ferrule = true;
    }
    // Glass in a drawn circle may look like a wide core in its cladding; nobody draws a circle ten
    // times as wide as the glass.
    const bool may_be_rim = !other.line || other.parts || ratio > kNarrowRatio;
    if (ratio > 1.1 && other_quality > 0.4 && !other.dark_outside && may_be_rim &&
        LikeCore(*cladding, other)) {
      cladding->score -= 0.5;
    }
    if (LikeDirtBy(other, *cladding)) like_dirt = true;
  }
  // An adhesive ring has an outer border.
  if (ringed && !cladding->line) cladding->score += 0.1;
  if (cladding->has_core) cladding->score += 0.2;
  if (like_dirt && !cladding->has_core) cladding->score -= kLikelyDirt;
  cladding->like_hole = LiesInRing(all, *cladding);
  if (cladding->like_hole) cladding->score -= kHolePenalty;
  if (cladding->line) cladding->score -= cladding->has_core ? 0.3 : 0.4;
  if (cladding->dark_outside && !cladding->has_core) cladding->score -= kDarkPenalty;
  if (cladding->dark_outside && ferrule) cladding->score -= 0.6;
}

}  // namespace

std::vector<Cladding> ChooseCladding(const cv::Mat& luma,
                                     double white_level,
                                     const std::vector<Level>& levels,
                                     const std::vector<Ring>& rings) {
  std::vector<Ring> candidates = Distinct(rings, 0.05);
  if (candidates.size() > kMostExamined) candidates.resize(kMostExamined);
  std::vector<Cladding> claddings;
  for (const Ring& ring : candidates) {
    if (ring.seen < 0.2 || Quality(ring) < kHopeless) continue;
    if (const auto cladding = Examine(luma, white_level, levels, ring))
      claddings.push_back(*cladding);
  }
  const std::vector<Cladding> all = claddings;
  for (Cladding& cladding : claddings) Weigh(all, &cladding);
  std::stable_sort(claddings.begin(), claddings.end(), [](const Cladding& a, const Cladding& b) {
    return a.score > b.score;
  });
  return claddings;
}

}  // namespace endgrade::locate

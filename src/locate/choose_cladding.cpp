#include "locate/choose_cladding.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

constexpr double kBlack = 14.0;  // luma units: what lies behind a camera's round mask
constexpr size_t kMostExamined = 14;
constexpr double kExamineRadius = 64.0;  // in pixels of the level a ring is examined in

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
  return share * clear - 20.0 * std::max(0.0, ring.scatter - 0.005) - 10.0 * OvalExcess(ring);
}

// Is `inner` what a core is to a cladding? Nominal ratios 0.4 and 0.5 (IEC 60793-2-10), 0.064 to
// 0.08 (mode field, ITU-T G.652): the steepest place of a lit mode field is half-way in. A fibre in
// a whole ferrule's face has just 0.1 or 0.05, which are left out.
bool LikeCore(const Cladding& inner, const Cladding& outer) {
  const double outer_radius = outer.ring.frame.Radius();
  if (Apart(inner.ring, outer.ring) > 0.04 * outer_radius) return false;
  const double ratio = inner.ring.frame.Radius() / outer_radius;
  if (Between(ratio, 0.37, 0.43) || Between(ratio, 0.46, 0.54)) return true;
  const bool ferrule = Between(ratio, 0.0485, 0.0515) || Between(ratio, 0.097, 0.103);
  return Between(ratio, 0.033, 0.095) && !(outer.mask && ferrule);
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

std::optional<Cladding> Examine(const cv::Mat& luma, double white_level, const Ring& coarse) {
  const double radius = coarse.frame.Radius();
  const int factor = std::max(1, static_cast<int>(radius / kExamineRadius));
  const int reach = static_cast<int>(1.4 * radius) + 4 * factor;
  const cv::Point middle(coarse.frame.centre);
  const cv::Rect part = cv::Rect(middle.x - reach, middle.y - reach, 2 * reach, 2 * reach) &
                        cv::Rect({0, 0}, luma.size());
  if (part.width < 8 * factor || part.height < 8 * factor) return std::nullopt;
  const Level level = MakeLevel(luma, white_level, part, factor);
  const auto ring = FitRing(level, {coarse.frame, coarse.polarity, 1.0}, 0.08);
  if (!ring || ring->seen < 0.25) return std::nullopt;
  Cladding cladding;
  cladding.ring = *ring;
  cladding.view = LookAtRing(level, *ring);
  const RingView& view = cladding.view;
  const double step = std::abs(view.outside - view.inside);
  cladding.mask = ring->polarity < 0 && view.outside < kBlack && view.outside_texture < 3.0 &&
                  view.inside > view.outside + 8.0;
  cladding.line = view.peak > 2.0 * step && view.step_share < 0.85;
  cladding.score = Quality(*ring);
  return cladding;
}

// What the other circles about the same centre make of it.
void Weigh(const std::vector<Cladding>& all, Cladding* cladding) {
  const double own = Quality(cladding->ring);
  for (const Cladding& other : all) {
    const double ratio = other.ring.frame.Radius() / cladding->ring.frame.Radius();
    const double other_quality = Quality(other.ring);
    if (ratio < 0.9 && other_quality > 0.4 && LikeCore(other, *cladding)) {
      cladding->has_core = true;
    }
    if (ratio > 1.1 && other_quality > 0.4 && !other.mask && !other.line &&
        LikeCore(*cladding, other)) {
      cladding->score -= 0.5;
    }
  }
  (void)own;
  if (cladding->has_core) cladding->score += 0.2;
  if (cladding->line && !cladding->has_core) cladding->score -= 0.4;
  if (cladding->mask && !cladding->has_core) cladding->score -= 0.3;
}

}  // namespace

std::vector<Cladding> ChooseCladding(const cv::Mat& luma,
                                     double white_level,
                                     const std::vector<Ring>& rings) {
  std::vector<Ring> candidates = Distinct(rings, 0.05);
  if (candidates.size() > kMostExamined) candidates.resize(kMostExamined);
  std::vector<Cladding> claddings;
  for (const Ring& ring : candidates) {
    if (ring.seen < 0.2) continue;
    if (const auto cladding = Examine(luma, white_level, ring)) claddings.push_back(*cladding);
  }
  const std::vector<Cladding> all = claddings;
  for (Cladding& cladding : claddings) Weigh(all, &cladding);
  std::stable_sort(claddings.begin(), claddings.end(), [](const Cladding& a, const Cladding& b) {
    return a.score > b.score;
  });
  return claddings;
}

}  // namespace endgrade::locate

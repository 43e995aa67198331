#include "locate/choose_cladding.h"

#include <algorithm>
#include <cmath>

namespace endgrade::locate {
namespace {

constexpr double kBlack = 14.0;  // luma units: what lies behind a camera's round mask

double Apart(const Ring& a, const Ring& b) {
  return std::hypot(a.frame.centre.x - b.frame.centre.x, a.frame.centre.y - b.frame.centre.y);
}

bool Concentric(const Ring& inner, const Ring& outer) {
  return Apart(inner, outer) < 0.06 * outer.frame.Radius();
}

bool Between(double value, double low, double high) { return value > low && value < high; }

// Is `inner` what a core is to a cladding? Nominal ratios 0.4 and 0.5 (IEC 60793-2-10), 0.064 to
// 0.08 (mode field, ITU-T G.652), with room for the light's own spread at the core's edge.
bool LikeCore(const Ring& inner, const Ring& outer) {
  const double ratio = inner.frame.Radius() / outer.frame.Radius();
  return Between(ratio, 0.36, 0.44) || Between(ratio, 0.46, 0.54) || Between(ratio, 0.045, 0.1);
}

double Quality(const Ring& ring) {
  const double share = ring.seen / std::max(0.4, ring.in_view);
  return share * std::min(1.0, 0.4 + 0.1 * ring.strength) - 4.0 * ring.scatter;
}

// Duplicates come from neighbouring levels and bands: the better one stays.
std::vector<Ring> Distinct(std::vector<Ring> rings) {
  std::stable_sort(rings.begin(), rings.end(), [](const Ring& a, const Ring& b) {
    return Quality(a) > Quality(b);
  });
  std::vector<Ring> kept;
  for (const Ring& ring : rings) {
    const bool known = std::any_of(kept.begin(), kept.end(), [&](const Ring& other) {
      const double radius = std::max(ring.frame.Radius(), other.frame.Radius());
      return ring.polarity == other.polarity && Apart(ring, other) < 0.05 * radius &&
             std::abs(ring.frame.Radius() - other.frame.Radius()) < 0.04 * radius;
    });
    if (!known) kept.push_back(ring);
  }
  return kept;
}

struct Known {
  Ring ring;
  RingView view;
  bool mask = false;
  bool line = false;
};

Known Know(const std::vector<Level>& levels, const Ring& ring) {
  Known known{ring, LookAtRing(LevelFor(levels, ring.frame.Radius()), ring), false, false};
  const RingView& view = known.view;
  known.mask = view.outside < kBlack && view.outside_texture < 2.0 && ring.polarity < 0 &&
               view.inside > view.outside + 10.0;
  known.line = std::abs(view.outside - view.inside) < 0.2 * view.peak;
  return known;
}

Cladding Weigh(const Known& known, const std::vector<Known>& all) {
  Cladding cladding{known.ring, Quality(known.ring), known.mask};
  bool has_core = false;
  for (const Known& other : all) {
    if (&other == &known) continue;
    const double ratio = other.ring.frame.Radius() / known.ring.frame.Radius();
    const double other_quality = Quality(other.ring);
    if (ratio < 1.0 && Concentric(other.ring, known.ring)) {
      if (LikeCore(other.ring, known.ring) && other_quality > 0.35) has_core = true;
      // The inner border of an adhesive ring is the glass's edge.
      if (ratio > 0.87 && other.ring.polarity != known.ring.polarity &&
          other_quality > 0.6 * cladding.score && other.ring.strength > 0.4 * known.ring.strength) {
        cladding.score -= 0.3;
      }
    }
    if (ratio > 1.0 && Concentric(known.ring, other.ring) && !other.mask && !other.line &&
        other_quality > 0.4 && LikeCore(known.ring, other.ring)) {
      cladding.score -= 0.5;
    }
  }
  if (has_core) {
    cladding.score += 0.25;
    cladding.doubtful = false;
  }
  if (known.line && !has_core) cladding.score -= 0.15;
  if (cladding.doubtful) cladding.score -= 0.3;
  return cladding;
}

}  // namespace

const Level& LevelFor(const std::vector<Level>& levels, double radius) {
  // Finest first.
  for (const Level& level : levels) {
    if (radius / level.factor < 60.0) return level;
  }
  return levels.back();
}

RingView LookAtRing(const Level& level, const Ring& ring) {
  const RimFrame frame = level.FrameOf(ring.frame);
  PolarGrid grid;
  grid.rays = 72;
  grid.from = 0.78;
  grid.to = 1.22;
  grid.columns = 45;
  const PolarMap map = SampleRays(level, frame, grid);
  std::vector<float> profile;
  std::vector<float> sample;
  for (int column = 0; column < grid.columns; ++column) {
    sample.clear();
    for (int ray = 0; ray < grid.rays; ++ray) {
      const float value = map.values.at<float>(ray, column);
      if (std::isfinite(value)) sample.push_back(value);
    }
    profile.push_back(Median(sample));
  }
  const auto spread = [&](int from, int to) {
    cv::Mat part = map.values.colRange(from, to).clone();
    for (int column = from; column < to; ++column) {
      for (int ray = 0; ray < grid.rays; ++ray) {
        part.at<float>(ray, column - from) -= profile[static_cast<size_t>(column)];
      }
    }
    return RobustSpread(part);
  };
  const auto mean = [&](int from, int to) {
    double sum = 0.0;
    for (int i = from; i < to; ++i) sum += static_cast<double>(profile[static_cast<size_t>(i)]);
    return sum / (to - from);
  };
  RingView view;
  view.inside = mean(2, 12);
  view.outside = mean(33, 43);
  view.inside_texture = spread(2, 12);
  view.outside_texture = spread(33, 43);
  const double low = std::min(view.inside, view.outside);
  const double high = std::max(view.inside, view.outside);
  for (size_t i = 12; i < 33; ++i) {
    const auto value = static_cast<double>(profile[i]);
    view.peak = std::max({view.peak, value - high, low - value, high - low});
  }
  return view;
}

std::vector<Cladding> ChooseCladding(const std::vector<Level>& levels,
                                     const std::vector<Ring>& rings) {
  std::vector<Known> all;
  for (const Ring& ring : Distinct(rings)) {
    if (ring.seen < 0.25) continue;
    all.push_back(Know(levels, ring));
    if (all.size() == 24) break;
  }
  std::vector<Cladding> claddings;
  for (const Known& known : all) claddings.push_back(Weigh(known, all));
  std::stable_sort(claddings.begin(), claddings.end(), [](const Cladding& a, const Cladding& b) {
    return a.score > b.score;
  });
  return claddings;
}

}  // namespace endgrade::locate

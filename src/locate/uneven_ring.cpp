#include "locate/uneven_ring.h"

#include "locate/ring_fit.h"
#include "locate/sector_profile.h"

#include <algorithm>
#include <cmath>
#include <initializer_list>

namespace endgrade::locate {
namespace {

constexpr int kParts = 12;
constexpr int kLeastSectors = 4;  // of a part's, with the rim in sight
constexpr size_t kLeastParts = 7;
constexpr double kLeastShift = 0.001;  // of the radius: 0.06 um
constexpr double kMostMoved = 0.03;    // of the radius, from what the whole rim said

struct Part {
  double angle = 0;
  RimProfile profile;  // in light
  StepFit fit;
  double rim_noise = 1;
};

std::vector<Part> Divide(const PolarMap& map,
                         const std::vector<double>& weights,
                         double radius,
                         double tone) {
  std::vector<Part> parts;
  const int sectors = map.values.rows / kParts;
  for (int i = 0; i < kParts; ++i) {
    std::vector<double> own(weights.size(), 0.0);
    int count = 0;
    double middle = 0.0;
    for (int k = i * sectors; k < (i + 1) * sectors; ++k) {
      const auto s = static_cast<size_t>(k);
      own[s] = weights[s];
      if (own[s] <= 0.0) continue;
      ++count;
      middle += k;
    }
    if (count < kLeastSectors) continue;
    Part part;
    part.angle = 2.0 * CV_PI * middle / count / map.values.rows;
    part.profile = InLight(ProfileOf(map, own, radius), tone);
    parts.push_back(std::move(part));
  }
  return parts;
}

void FitPart(const StepTerms& terms,
             StepShape common,  // a copy: it may be the part's own
             const RingPrior& prior,
             std::initializer_list<double> starts,
             Part* part) {
  const StepFitter fitter(part->profile, terms, prior);
  part->fit = {};
  for (const double wider : starts) {
    StepShape start = common;
    start.log_ring += std::log(wider);
    StepFit fit = fitter.Descend(start);
    if (fit.rss < part->fit.rss) part->fit = std::move(fit);
  }
  part->rim_noise = fitter.RimUncertainty(part->fit);
}

// Depth of the ring where it is widest: the mean over the widest third of the parts.
double DepthWhereWide(std::vector<Part> parts) {
  std::stable_sort(parts.begin(), parts.end(), [](const Part& a, const Part& b) {
    return a.fit.shape.log_ring > b.fit.shape.log_ring;
  });
  const size_t count = std::max<size_t>(1, parts.size() / 3);
  double sum = 0.0;
  for (size_t i = 0; i < count; ++i) sum += RingDepth(parts[i].fit.heights);
  return sum / static_cast<double>(count);
}

double MedianOf(const std::vector<Part>& parts, double StepShape::*parameter) {
  std::vector<float> values;
  for (const Part& part : parts) {
    values.push_back(static_cast<float>(std::exp(part.fit.shape.*parameter)));
  }
  return static_cast<double>(Median(values));
}

RimOffset Through(const std::vector<Part>& parts, double radius) {
  double least = 1e9;
  for (const Part& part : parts) least = std::min(least, part.rim_noise);
  std::vector<RayEdge> edges;
  for (const Part& part : parts) {
    const double share = least / std::max(1e-9, part.rim_noise);
    edges.push_back({std::cos(part.angle),
                     std::sin(part.angle),
                     part.fit.shape.rim / radius,
                     6.0 * share * share});
  }
  return FitOffset(edges, FitOffset(edges, {}, 0.06), 0.03);
}

// Is the glass's edge surely off centre in the ellipse that fits the whole rim? If not, the parts
// only add noise to what the whole has said.
bool Stands(const std::vector<Part>& parts,
            const RimOffset& glass,
            double radius,
            const RimModel& common) {
  std::vector<float> misses;
  for (const Part& part : parts) {
    const double miss =
        part.fit.shape.rim / radius - glass.At(std::cos(part.angle), std::sin(part.angle));
    misses.push_back(static_cast<float>(std::abs(miss)));
  }
  const double noise = 1.5 * static_cast<double>(Median(misses)) *
                       std::sqrt(2.0 / static_cast<double>(parts.size()));
  const double shift = std::hypot(glass.shift_x, glass.shift_y);
  const double moved = std::abs(glass.size - common.rim / radius);
  // A fibre that touches its bore is off by the ring's mean width, no more.
  const double most = MedianOf(parts, &StepShape::log_ring) / radius;
  return shift > std::max(kLeastShift, 4.0 * noise) && shift < most && moved < kMostMoved;
}

}  // namespace

std::optional<UnevenRing> FitUnevenRing(const PolarMap& map,
                                        const std::vector<double>& weights,
                                        double radius,
                                        const RimModel& common) {
  std::vector<Part> parts = Divide(map, weights, radius, common.tone);
  if (parts.size() < kLeastParts) return std::nullopt;
  for (Part& part : parts) FitPart(common.terms, common.shape, {}, {1.0, 0.5}, &part);
  const RingPrior prior{DepthWhereWide(parts), 0.15};
  for (Part& part : parts) FitPart(common.terms, part.fit.shape, prior, {1.0}, &part);
  // A part whose first step goes the other way, or of which nothing is sure, has lost its place.
  const auto lost = [&](const Part& part) {
    return part.fit.heights[3] * common.first_step <= 0.0 || part.rim_noise > kMostMoved * radius;
  };
  parts.erase(std::remove_if(parts.begin(), parts.end(), lost), parts.end());
  if (parts.size() < kLeastParts) return std::nullopt;
  const RimOffset glass = Through(parts, radius);
  if (!Stands(parts, glass, radius, common)) return std::nullopt;
  return UnevenRing{
      glass, MedianOf(parts, &StepShape::log_sigma), MedianOf(parts, &StepShape::log_ring)};
}

}  // namespace endgrade::locate

// Least squares for a rim's model: Levenberg-Marquardt over the rim's parameters, with those of
// each sector taken out of the equations by Schur's complement.
#pragma once

#include "locate/rim_model.h"
#include "locate/rim_normal.h"

#include <vector>

namespace endgrade::locate {

// What is known before looking: mean and standard deviation of each parameter. Levels have no mean.
struct RimPrior {
  RimVector mean{};
  RimVector sigma{};
  SectorVector own_sigma{};
};

struct RimFit {
  RingKind kind = RingKind::kNone;
  RimVector rim{};
  std::vector<SectorVector> sectors;
  double cost = 1e300;          // sum of squares, what is known before included
  std::vector<double> misfits;  // what each sector adds to it
  double complexity = 0;        // what a model pays for its parameters: -2 log, but for a constant
  double size_variance = 0;
  double shift_variance = 0;  // of the worse coordinate
};

class RimSolver {
 public:
  // The noise of the data is `noise_scale` times what it says.
  RimSolver(const RimData& data, RingKind kind, const RimPrior& prior, double noise_scale);

  [[nodiscard]] RimFit Descend(RimFit start, int rounds);
  // Sets cost and misfits.
  void Assess(RimFit* fit);
  // Sets complexity (Laplace's approximation) and variances, too.
  void Conclude(RimFit* fit);

 private:
  struct Normal {
    RimNormal rim;
    std::vector<SectorNormals> fours;
  };
  // The equations about what was assessed last.
  void Linearise(const RimFit& assessed, Normal* normal);
  [[nodiscard]] bool Step(const Normal& normal, double damping, RimFit* fit);
  [[nodiscard]] RimVector Clamped(RimVector rim) const;

  const RimData& data_;
  RingKind kind_;
  RimPrior prior_;
  double per_scale_;
  RimModel model_;
  std::vector<std::vector<RimShown>> shown_;  // by eights of sectors
  std::vector<std::vector<RimMiss>> misses_;
  std::vector<SectorNormals> reduced_;  // by fours
  std::vector<RimRow> rows_;
  RaySums sums_;
};

}  // namespace endgrade::locate

// Random features: of a wanted kind, size and zone, and clear of those that are there already.
#pragma once

#include "endgrade/scene.h"
#include "render/random.h"
#include "render/rule_table.h"
#include "render/shape.h"
#include "render/truth.h"

#include <utility>
#include <vector>

namespace endgrade::render {

class FeatureMaker {
 public:
  // Keeps clear of what the scene has already.
  FeatureMaker(Random& random, const RuleTable& table, SceneDescription& scene);

  // Adds one with enclosing diameter (or width) `size_um` that belongs to `zone`. False when no
  // place was found in a fair number of tries.
  bool AddDefect(const std::string& zone, double size_um);
  bool AddScratch(const std::string& zone, double width_um);

  // One that every rule allows, whatever measurement makes of it, beside those already there.
  void AddAllowed();

  // Enough to break this rule, by a clear margin of size.
  void Break(const TableRule& rule);

  // Missing glass at the rim that reaches `depth_um` into the cladding; a crack that starts there.
  void AddChip(double depth_um);
  void AddCrack();

  // A wide patch, a print, a hair: what a touched or dropped connector carries.
  void AddMess();

 private:
  [[nodiscard]] SceneFeature Compact(double size_um);
  [[nodiscard]] SceneFeature Long(double size_um);
  [[nodiscard]] double RandomContrast(double faintest);
  [[nodiscard]] bool IsClear(const SceneFeature& feature, const Shape& shape) const;
  bool Accept(const SceneFeature& feature, const std::string& zone);
  void DropLast();
  void Keep(const SceneFeature& feature, const Shape& shape);
  [[nodiscard]] std::pair<double, double> ZoneRadii(const std::string& zone) const;

  Random& random_;
  const RuleTable& table_;
  SceneDescription& scene_;

  // Of the scene's features, in their order.
  struct Placed {
    std::vector<cv::Point2d> outline;
    Circle around;
  };
  std::vector<Placed> placed_;
  std::vector<TrueFeature> true_features_;
};

}  // namespace endgrade::render

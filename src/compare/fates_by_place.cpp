#include "compare/fates.h"
#include "compare/forced_look.h"
#include "compare/overlap.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace endgrade::compare {
namespace {

constexpr double kReach_um = 1.2;     // between outlines of one thing in two pictures
constexpr double kCovered = 0.4;      // of one feature's pixels by the other's: the same thing
constexpr double kMostGrowth = 1.35;  // of the enclosing diameter, beyond blur and uncertainty
constexpr double kSlack_um = 0.8;
constexpr double kSameLook =
    0.65;  // share of its look that was there before: neither new nor moved
constexpr double kSameWhenGrown = 0.85;  // the same of a larger thing: two that are seen as one now
constexpr double kAlike = 0.5;           // two looks that are one thing's
constexpr double kMovedShare = 0.15;     // of the smaller diameter
constexpr double kLeastMove_um = 2.0;
constexpr double kSureShare = 3.0;  // times the noise of a look
constexpr double kLeastInView = 0.85;
constexpr double kMoveSizeRatio = 1.35;     // of a thing that was moved
constexpr double kMoveContrastRatio = 2.5;  // other cameras and focus store other contrasts
constexpr double kMostChance = 0.15;        // that some new thing lies so near by chance
constexpr double kSamePlace_px = 1.2;

double Blur_um(const Attempt& attempt) {
  const ContrastMap& map = attempt.workings.contrast;
  return map.blur_sigma_cells * map.um_per_cell;
}

class Matcher {
 public:
  Matcher(const Attempt& before,
          const Attempt& after,
          const Registration& registration,
          const CompareOptions& options)
      : before_(before.grade.fibres.front()),
        after_(after.grade.fibres.front()),
        frames_alike_(before.frame.luma.size() == after.frame.luma.size()),
        registration_(registration),
        options_(options),
        soft_(SoftenBoth(before, after)),
        reach_um_(kReach_um + registration.shift_uncertainty_um),
        blur_slack_um_(2.0 * std::abs(Blur_um(before) - Blur_um(after)) + kSlack_um) {
    for (const Feature& feature : before_.features) {
      std::vector<cv::Point2d> outline;
      for (const cv::Point2d& p : feature.outline_px) {
        outline.push_back(registration_.ToAfter(before_.scale.ToUm(p)));
      }
      was_.push_back(MakePatch(outline));
    }
    for (const Feature& feature : after_.features) {
      std::vector<cv::Point2d> outline;
      for (const cv::Point2d& p : feature.outline_px) outline.push_back(after_.scale.ToUm(p));
      is_.push_back(MakePatch(outline));
    }
  }

  std::vector<FeatureFate> Match() {
    for (std::size_t i = 0; i < was_.size(); ++i) AddFateOf(i);
    std::vector<bool> partner(is_.size(), false);
    for (const FeatureFate& fate : fates_) {
      if (fate.after) partner[*fate.after] = true;
    }
    for (std::size_t j = 0; j < is_.size(); ++j) {
      if (!partner[j]) fates_.push_back(FateOfNew(j));
    }
    FindCameraDirt();
    FindMoved();
    return std::move(fates_);
  }

 private:
  // The feature of after that is most the same thing, if any is.
  std::optional<std::size_t> Partner(std::size_t i) const {
    std::optional<std::size_t> best;
    double best_overlap = 0;
    for (std::size_t j = 0; j < is_.size(); ++j) {
      const double of_was = Covered(was_[i], is_[j], reach_um_);
      const double of_is = Covered(is_[j], was_[i], reach_um_);
      // The smaller one lies mostly on the larger one, and the larger is not another thing's.
      const double overlap = of_was + of_is;
      if (std::max(of_was, of_is) < 0.5 || std::min(of_was, of_is) < 0.1) continue;
      if (overlap > best_overlap) {
        best_overlap = overlap;
        best = j;
      }
    }
    return best;
  }

  std::optional<Look> LookAfter(std::size_t i, cv::Point2d moved_um = {}) const {
    return LookFor(before_.features[i], soft_.before, soft_.after, [&](cv::Point2d p) {
      return registration_.ToAfter(p) + moved_um;
    });
  }

  std::optional<Look> LookBefore(std::size_t j, cv::Point2d moved_um = {}) const {
    return LookFor(after_.features[j], soft_.after, soft_.before, [&](cv::Point2d p) {
      return registration_.ToBefore(p - moved_um);
    });
  }

  static std::optional<ForcedLook> Figures(const std::optional<Look>& look) {
    if (!look) return std::nullopt;
    return ForcedLook{
        look->contrast, look->share * look->contrast, look->share_noise * std::abs(look->contrast)};
  }

  [[nodiscard]] bool IsAbsent(const std::optional<Look>& look) const {
    return look && look->in_view >= kLeastInView && look->WouldShow(options_.would_show_sigma) &&
           std::abs(look->share) < options_.gone_below &&
           1.0 - look->share > kSureShare * look->share_noise;
  }

  // Adds what became of feature i.
  void AddFateOf(std::size_t i) {
    FeatureFate fate;
    fate.before = i;
    const auto look = LookAfter(i);
    fate.look = Figures(look);
    if (const auto j = Partner(i)) {
      const auto back = LookBefore(*j);
      if (IsAbsent(look) && IsAbsent(back)) {
        Say(Fate::kGone, "another thing lies at its place now", &fate);
      } else {
        fate.after = j;
        StayedOrChanged(i, *j, back, &fate);
      }
    } else if (Covered(was_[i], is_, reach_um_) >= kCovered) {
      if (look && look->share >= options_.gone_below) {
        Say(Fate::kStillThere, "part of a larger thing now", &fate);
      } else {
        Say(Fate::kCannotTell, "something else lies over its place", &fate);
      }
    } else {
      ByLook(look, Fate::kGone, "photograph after", &fate);
    }
    fates_.push_back(std::move(fate));
  }

  FeatureFate FateOfNew(std::size_t j) const {
    FeatureFate fate;
    fate.after = j;
    const auto look = LookBefore(j);
    fate.look = Figures(look);
    if (!IsAbsent(look) && Covered(is_[j], was_, reach_um_) >= kCovered) {
      Say(Fate::kStillThere, "a piece of what was there before", &fate);
      return fate;
    }
    ByLook(look, Fate::kNew, "photograph before", &fate);
    return fate;
  }

  static void Say(Fate what, std::string words, FeatureFate* fate) {
    fate->fate = what;
    fate->words = std::move(words);
  }

  // Found in one picture only: what the other one has at its place decides.
  void ByLook(const std::optional<Look>& look,
              Fate if_absent,
              const std::string& other,
              FeatureFate* fate) const {
    if (!look || look->in_view < kLeastInView) {
      Say(Fate::kCannotTell, "its place is not in view in the " + other, fate);
      return;
    }
    if (look->share >= options_.gone_below && look->share >= kSureShare * look->share_noise) {
      Say(Fate::kStillThere,
          "too faint to be found in the " + other + ", but it shows there",
          fate);
      return;
    }
    if (!look->WouldShow(options_.would_show_sigma)) {
      Say(Fate::kCannotTell, "the " + other + " would not have shown it", fate);
      return;
    }
    if (IsAbsent(look)) {
      Say(if_absent, "nothing is seen at its place in the " + other, fate);
    } else {
      Say(Fate::kCannotTell, "the " + other + " shows something faint at its place", fate);
    }
  }

  //   back   of what is there now, in the photograph before
  void StayedOrChanged(std::size_t i,
                       std::size_t j,
                       const std::optional<Look>& back,
                       FeatureFate* fate) const {
    const Feature& was = before_.features[i];
    const Feature& is = after_.features[j];
    Say(Fate::kStillThere, "at its place", fate);
    // How much of a scratch is seen differs from picture to picture; a blot's size does not.
    if (was.kind == FeatureKind::kScratch || is.kind == FeatureKind::kScratch) return;
    const double slack =
        std::hypot(was.size_uncertainty_um, is.size_uncertainty_um) + blur_slack_um_;
    const bool grown = is.diameter_enclosing_um > kMostGrowth * was.diameter_enclosing_um + slack;
    if (grown && (!back || back->share < kSameWhenGrown)) {
      Say(Fate::kMoved, "at its place, but drawn out", fate);
      return;
    }
    const cv::Point2d off = is.centre_um - registration_.ToAfter(was.centre_um);
    const double moved = cv::norm(off);
    const double smaller = std::min(was.diameter_enclosing_um, is.diameter_enclosing_um);
    const double larger = std::max(was.diameter_enclosing_um, is.diameter_enclosing_um);
    if (larger > kMoveSizeRatio * smaller + slack ||
        moved <= std::max(kLeastMove_um + slack, kMovedShare * smaller)) {
      return;
    }
    if (Likeness(i, j, off) > kAlike && back && back->share < kSameLook) {
      fate->moved_um = moved;
      Say(Fate::kMoved, "moved by a little", fate);
    }
  }

  // How much two things look the same when one is laid on the other: the square of a correlation.
  double Likeness(std::size_t i, std::size_t j, cv::Point2d moved_um) const {
    const auto there = LookAfter(i, moved_um);
    const auto back = LookBefore(j, moved_um);
    return there && back ? std::max(0.0, there->share) * std::max(0.0, back->share) : 0.0;
  }

  // What kept its pixels while the face moved under it belongs to the camera.
  void FindCameraDirt() {
    if (!frames_alike_) return;
    for (FeatureFate& gone : fates_) {
      if (!gone.before || gone.after) continue;
      const Feature& was = before_.features[*gone.before];
      for (FeatureFate& came : fates_) {
        if (!came.after || came.before) continue;
        const Feature& is = after_.features[*came.after];
        const cv::Point2d d = was.centre_px - is.centre_px;
        if (std::hypot(d.x, d.y) > kSamePlace_px || !AlikeEnough(was, is)) continue;
        for (FeatureFate* fate : {&gone, &came}) {
          fate->of_camera = true;
          Say(Fate::kCannotTell,
              "stayed at its place in the picture while the face moved: the camera's own",
              fate);
        }
      }
    }
  }

  static bool AlikeEnough(const Feature& a, const Feature& b) {
    const double small = std::min(a.diameter_enclosing_um, b.diameter_enclosing_um);
    const double large = std::max(a.diameter_enclosing_um, b.diameter_enclosing_um);
    const double faint = std::min(std::abs(a.contrast_peak), std::abs(b.contrast_peak));
    const double strong = std::max(std::abs(a.contrast_peak), std::abs(b.contrast_peak));
    return a.kind == b.kind && a.contrast_peak * b.contrast_peak > 0 &&
           large <= kMoveSizeRatio * small + kSlack_um && strong <= kMoveContrastRatio * faint;
  }

  // How much of the contact zone lies nearer than this: the chance that one new thing lands there.
  static double ShareOfFace(double distance_um) {
    constexpr double kContactRadius_um = 125;
    return distance_um * distance_um / (kContactRadius_um * kContactRadius_um);
  }

  // One that went and one that came, alike and near each other: moved. Nearest pairs first.
  void FindMoved() {
    struct Pair {
      double distance;
      std::size_t gone, came;
    };
    const auto num_new = static_cast<double>(std::count_if(
        fates_.begin(), fates_.end(), [](const FeatureFate& f) { return f.fate == Fate::kNew; }));
    std::vector<Pair> pairs;
    for (std::size_t g = 0; g < fates_.size(); ++g) {
      if (fates_[g].fate != Fate::kGone) continue;
      for (std::size_t n = 0; n < fates_.size(); ++n) {
        if (fates_[n].fate != Fate::kNew) continue;
        const Feature& was = before_.features[*fates_[g].before];
        const Feature& is = after_.features[*fates_[n].after];
        if (was.kind == FeatureKind::kScratch || !AlikeEnough(was, is)) continue;
        const cv::Point2d d = is.centre_um - registration_.ToAfter(was.centre_um);
        const double distance = cv::norm(d);
        if (distance > options_.farthest_move_um || num_new * ShareOfFace(distance) > kMostChance) {
          continue;
        }
        if (Likeness(*fates_[g].before, *fates_[n].after, d) < kAlike) continue;
        pairs.push_back({distance, g, n});
      }
    }
    std::stable_sort(pairs.begin(), pairs.end(), [](const Pair& a, const Pair& b) {
      return a.distance < b.distance;
    });
    std::vector<bool> dropped(fates_.size(), false);
    for (const Pair& pair : pairs) {
      FeatureFate& fate = fates_[pair.gone];
      if (fate.after || dropped[pair.came]) continue;
      fate.after = fates_[pair.came].after;
      fate.moved_um = pair.distance;
      Say(Fate::kMoved, "something just like it lies nearby now", &fate);
      dropped[pair.came] = true;
    }
    std::vector<FeatureFate> kept;
    for (std::size_t i = 0; i < fates_.size(); ++i) {
      if (!dropped[i]) kept.push_back(std::move(fates_[i]));
    }
    fates_ = std::move(kept);
  }

  const FibreGrade& before_;
  const FibreGrade& after_;
  bool frames_alike_;
  const Registration& registration_;
  const CompareOptions& options_;
  SoftPair soft_;
  double reach_um_;
  double blur_slack_um_;
  std::vector<Patch> was_;
  std::vector<Patch> is_;
  std::vector<FeatureFate> fates_;
};

}  // namespace

std::vector<FeatureFate> FatesByPlace(const Attempt& before,
                                      const Attempt& after,
                                      const Registration& registration,
                                      const CompareOptions& options) {
  return Matcher(before, after, registration, options).Match();
}

}  // namespace endgrade::compare

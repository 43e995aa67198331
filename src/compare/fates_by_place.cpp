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
constexpr double kMostGrowth = 1.25;  // of the enclosing diameter, beyond blur and uncertainty
constexpr double kSlack_um = 0.8;
constexpr double kThinner = 0.93;  // what is drawn out is thinner than this where it was
constexpr double kSameLook =
    0.65;  // share of its look that was there before: neither new nor moved
constexpr double kSameWhenGrown = 0.85;  // likeness of a larger thing that is no other
constexpr double kAlike = 0.5;           // two looks that are one thing's
constexpr double kMovedShare = 0.15;     // of the smaller diameter
constexpr double kLeastMove_um = 2.0;
constexpr double kSureShare = 3.0;  // times the noise of a look
constexpr double kLeastInView = 0.85;
constexpr double kMoveSizeRatio = 1.35;     // of a thing that was moved
constexpr double kMoveContrastRatio = 2.5;  // other cameras and focus store other contrasts
constexpr double kSamePlace_px = 1.2;

// Natural logarithm of how much stronger one thing shows in one picture than in the other, at one
// and the same softness: its spread where the cameras' own ratio is known, what that ratio is
// without a thing that stayed to tell it, and the spread of any two things. Seen on tuning seeds
// (tests/benchmarks/log/2026-11-28-compare-3.md).
constexpr double kStrengthSpread = 0.15;
constexpr double kGainSpread = 0.3;
constexpr double kStrengthOfAny = 1.0;
// Odds by which one moved thing must explain both better than one that went and one that came.
// Perhaps one in ten of what a cleaning takes lies near by; common practice, no source.
constexpr double kLeastOddsOfMove = 12.0;
constexpr double kContactRadius_um = 125;

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
    for (std::size_t i = 0; i < was_.size(); ++i) facing_.push_back(Face(i));
    FindGain();
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
  // What lies where a feature of before was, and how each looks in the other picture.
  struct Facing {
    std::optional<std::size_t> partner;
    std::optional<Look> look;
    std::optional<Look> back;  // of the partner
  };

  Facing Face(std::size_t i) const {
    Facing facing{Partner(i), LookAfter(i), std::nullopt};
    if (facing.partner) facing.back = LookBefore(*facing.partner);
    return facing;
  }

  // How much two looks are one thing's: the square of a correlation.
  static double Likeness(const std::optional<Look>& there, const std::optional<Look>& back) {
    return there && back ? std::max(0.0, there->share) * std::max(0.0, back->share) : 0.0;
  }

  // Logarithm of the strength in after over that in before.
  static double Strength(const Look& there, const Look& back) {
    return 0.5 * std::log(there.share / back.share);
  }

  // Two cameras show the same thing more or less strongly (their tone curve, their sharpening).
  // What stayed tells by how much; with little of that, not at all is as likely.
  void FindGain() {
    std::vector<double> strengths{0.0};
    for (const Facing& facing : facing_) {
      if (Likeness(facing.look, facing.back) < kSameWhenGrown) continue;
      strengths.push_back(Strength(*facing.look, *facing.back));
    }
    const auto count = static_cast<double>(strengths.size());
    std::sort(strengths.begin(), strengths.end());
    const std::size_t half = strengths.size() / 2;
    gain_ =
        strengths.size() % 2 == 1 ? strengths[half] : 0.5 * (strengths[half - 1] + strengths[half]);
    strength_spread_ = std::hypot(kStrengthSpread, kGainSpread / std::sqrt(count));
  }

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

  // Against the face's ground and against what lies beside it: under dirt that is thick or that the
  // flattening took for ground, only the second tells.
  [[nodiscard]] bool IsAbsent(const std::optional<Look>& look) const {
    return look && look->in_view >= kLeastInView && look->WouldShow(options_.would_show_sigma) &&
           std::abs(look->share) < options_.gone_below &&
           std::abs(look->share_beside) < options_.gone_below &&
           1.0 - std::max(look->share, look->share_beside) > kSureShare * look->change_noise;
  }

  // Adds what became of feature i.
  void AddFateOf(std::size_t i) {
    FeatureFate fate;
    fate.before = i;
    const auto& [partner, look, back] = facing_[i];
    fate.look = Figures(look);
    // What lies there now was not there, and is not the same thing more strongly shown.
    const bool other = partner && IsAbsent(back) && Likeness(look, back) < kAlike;
    if (partner && !other) {
      fate.after = partner;
      StayedOrChanged(i, *partner, &fate);
    } else if (other || Covered(was_[i], is_, reach_um_) >= kCovered) {
      UnderAnother(look, &fate);
    } else {
      ByLook(look, Fate::kGone, "photograph after", &fate);
    }
    fates_.push_back(std::move(fate));
  }

  // Something that is not it lies at its place, or over some of it.
  void UnderAnother(const std::optional<Look>& look, FeatureFate* fate) const {
    if (IsAbsent(look)) {
      Say(Fate::kGone, "another thing lies at its place now", fate);
    } else if (ShowsThere(look) && look->share * options_.gone_below <= 1.0 &&
               look->share_beside >= options_.gone_below) {
      Say(Fate::kStillThere, "part of a larger thing now", fate);
    } else {
      Say(Fate::kCannotTell, "something else lies over its place", fate);
    }
  }

  [[nodiscard]] bool ShowsThere(const std::optional<Look>& look) const {
    return look && look->share >= options_.gone_below &&
           look->share >= kSureShare * look->share_noise;
  }

  FeatureFate FateOfNew(std::size_t j) const {
    FeatureFate fate;
    fate.after = j;
    const auto look = LookBefore(j);
    fate.look = Figures(look);
    const bool covered = Covered(is_[j], was_, reach_um_) >= kCovered;
    if (covered && !IsAbsent(look) && (!look || look->WouldShow(options_.would_show_sigma))) {
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
    if (ShowsThere(look)) {
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

  void StayedOrChanged(std::size_t i, std::size_t j, FeatureFate* fate) const {
    const Feature& was = before_.features[i];
    const Feature& is = after_.features[j];
    Say(Fate::kStillThere, "at its place", fate);
    // How much of a scratch is seen differs from picture to picture; a blot's size does not.
    if (was.kind == FeatureKind::kScratch || is.kind == FeatureKind::kScratch) return;
    const double slack =
        std::hypot(was.size_uncertainty_um, is.size_uncertainty_um) + blur_slack_um_;
    const bool grown = is.diameter_enclosing_um > kMostGrowth * was.diameter_enclosing_um + slack;
    const auto& [partner, look, back] = facing_[i];
    // The same stuff over more of the face is thinner where it was; as strong as ever, it is still
    // there and something came beside it.
    if (grown && look && look->share <= 0) {
      fate->after.reset();
      Say(Fate::kCannotTell, "something else lies over its place", fate);
      return;
    }
    if (grown && look && look->share < kThinner * std::exp(gain_) &&
        Likeness(look, back) < kSameWhenGrown) {
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
    if (Likeness(LookAfter(i, off), LookBefore(j, off)) > kAlike && back &&
        back->share < kSameLook) {
      fate->moved_um = moved;
      Say(Fate::kMoved, "moved by a little", fate);
    }
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

  // How much better one moved thing explains one that went and one that came than chance does: by
  // how far apart they are and how many came, and by their strength. Nothing if they are not alike.
  std::optional<double> OddsOfMove(std::size_t i, std::size_t j, std::size_t num_new) const {
    const Feature& was = before_.features[i];
    const Feature& is = after_.features[j];
    // A scratch is in the glass.
    if (was.kind == FeatureKind::kScratch || !AlikeEnough(was, is)) return std::nullopt;
    const cv::Point2d d = is.centre_um - registration_.ToAfter(was.centre_um);
    const double distance = std::max(1.0, cv::norm(d));
    if (distance > options_.farthest_move_um) return std::nullopt;
    const auto there = LookAfter(i, d);
    const auto back = LookBefore(j, d);
    if (Likeness(there, back) < kAlike) return std::nullopt;
    // Any way of moving up to the farthest is as likely; what came by chance lies anywhere.
    const double place = kContactRadius_um * kContactRadius_um /
                         (2 * options_.farthest_move_um * distance * static_cast<double>(num_new));
    const double off = (Strength(*there, *back) - gain_) / strength_spread_;
    return place * kStrengthOfAny / strength_spread_ * std::exp(-0.5 * off * off);
  }

  // One that went and one that came, alike and near each other: moved. Likeliest pairs first.
  void FindMoved() {
    struct Pair {
      double odds;
      std::size_t gone, came;
    };
    const auto num_new = static_cast<std::size_t>(std::count_if(
        fates_.begin(), fates_.end(), [](const FeatureFate& f) { return f.fate == Fate::kNew; }));
    std::vector<Pair> pairs;
    for (std::size_t g = 0; g < fates_.size(); ++g) {
      if (fates_[g].fate != Fate::kGone) continue;
      for (std::size_t n = 0; n < fates_.size(); ++n) {
        if (fates_[n].fate != Fate::kNew) continue;
        const auto odds = OddsOfMove(*fates_[g].before, *fates_[n].after, num_new);
        if (odds && *odds >= kLeastOddsOfMove) pairs.push_back({*odds, g, n});
      }
    }
    std::stable_sort(
        pairs.begin(), pairs.end(), [](const Pair& a, const Pair& b) { return a.odds > b.odds; });
    std::vector<bool> dropped(fates_.size(), false);
    for (const Pair& pair : pairs) {
      FeatureFate& fate = fates_[pair.gone];
      if (fate.after || dropped[pair.came]) continue;
      fate.after = fates_[pair.came].after;
      fate.moved_um = cv::norm(after_.features[*fate.after].centre_um -
                               registration_.ToAfter(before_.features[*fate.before].centre_um));
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
  std::vector<Facing> facing_;
  double gain_ = 0;  // logarithm of how much more strongly after shows the same thing
  double strength_spread_ = 0;
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

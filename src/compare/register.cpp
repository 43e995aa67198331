#include "compare/grain.h"
#include "compare/marks.h"
#include "compare/range_problem.h"
#include "compare/shift.h"
#include "endgrade/compare.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

namespace endgrade {
namespace {

using compare::kNumAngles;

constexpr double kPi = std::numbers::pi;
constexpr double kStep_deg = 360.0 / kNumAngles;

// A correlation's peak counts as if its noise were normal, up to here; its tails are heavier.
constexpr double kMostGrainSigma = 9.0;
// The best of some thousand places of noise stands out by about so much. Where the second peak
// stands out by more, the noise is not normal, and all of it is taken to be as much larger.
constexpr double kOrdinarySecond = 4.0;
// Logarithm of how much rarer two set-ups are of which one shows the face as in a mirror; common
// practice, no source.
constexpr double kMirrorIsRare = 4.6;
// A witness that says less than this is not asked.
constexpr double kGrainSpeaks = 5.5;
constexpr double kMarksSpeak = 9.0;
constexpr int kLeastMarks = 3;

// Where the ferrule is looked at for grain, and how much rougher than the glass it must be.
constexpr double kGrainFrom_um = 75;
constexpr double kGrainTo_um = 110;
constexpr double kGrainOverNoise = 1.5;

struct Peak {
  std::size_t at = 0;
  double value = 0;
};

double Apart(std::size_t a, std::size_t b) {
  const auto n = static_cast<std::size_t>(kNumAngles);
  const std::size_t d = a > b ? a - b : b - a;
  return static_cast<double>(std::min(d, n - d)) * kStep_deg;
}

// The largest value, or the largest at least `apart_deg` from `other`.
Peak FindPeak(const std::vector<double>& values,
              std::optional<std::size_t> other,
              double apart_deg) {
  Peak peak{0, -1e300};
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (other && Apart(i, *other) < apart_deg) continue;
    if (values[i] > peak.value) peak = {i, values[i]};
  }
  return peak;
}

// Everything that speaks for a rotation under one hypothesis, mirrored or not.
struct Evidence {
  bool mirrored = false;
  std::vector<double> grain;  // signed so that the best peak is positive
  double grain_noise = 1.0;
  std::vector<double> marks;
  std::vector<double> both;
  Peak best;
  Peak second;
};

Evidence Gather(const Attempt& before,
                const Attempt& after,
                const std::vector<compare::Mark>& marks_before,
                const std::vector<compare::Mark>& marks_after,
                bool mirrored) {
  Evidence evidence;
  evidence.mirrored = mirrored;
  auto correlation = compare::CorrelateGrain(before, after, mirrored);
  evidence.grain = std::move(correlation.sigma);
  if (correlation.inverted) {
    for (double& value : evidence.grain) value = -value;
  }
  evidence.marks = compare::ScoreMarks(marks_before, marks_after, mirrored, false);
  return evidence;
}

double LargestGrain(const Evidence& evidence) {
  return *std::max_element(evidence.grain.begin(), evidence.grain.end());
}

// The tallest peak of the grain that is not the tallest of all, mirrored or not.
double NextGrain(const Evidence& straight, const Evidence& mirrored, double apart_deg) {
  const bool first = LargestGrain(straight) >= LargestGrain(mirrored);
  const Evidence& best = first ? straight : mirrored;
  const Peak peak = FindPeak(best.grain, std::nullopt, apart_deg);
  return std::max(FindPeak(best.grain, peak.at, apart_deg).value,
                  LargestGrain(first ? mirrored : straight));
}

// Adds up what grain and marks say, the grain in multiples of `noise`.
void Weigh(double noise, double apart_deg, Evidence* evidence) {
  evidence->grain_noise = noise;
  evidence->both.resize(evidence->grain.size());
  for (std::size_t i = 0; i < evidence->both.size(); ++i) {
    // Half the square, as of normal noise, less what its best place by chance has.
    const double grain = std::clamp(evidence->grain[i] / noise, kOrdinarySecond, kMostGrainSigma);
    evidence->both[i] = evidence->marks[i] +
                        0.5 * (grain * grain - kOrdinarySecond * kOrdinarySecond) -
                        (evidence->mirrored ? kMirrorIsRare : 0.0);
  }
  evidence->best = FindPeak(evidence->both, std::nullopt, apart_deg);
  evidence->second = FindPeak(evidence->both, evidence->best.at, apart_deg);
}

// Rotation between the grid's steps, from the grain's own peak.
double BetweenSteps(const std::vector<double>& values, std::size_t at) {
  const std::size_t n = values.size();
  const double left = values[(at + n - 1) % n];
  const double right = values[(at + 1) % n];
  const double bend = left - 2 * values[at] + right;
  return bend < 0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0.0;
}

double Signed(double degrees) {
  const double wrapped = std::remainder(degrees, 360.0);
  return wrapped <= -180.0 ? wrapped + 360.0 : wrapped;
}

// Weighted mean of what each common mark says.
void RotateByMarks(const std::vector<compare::Mark>& before,
                   const std::vector<compare::Mark>& after,
                   const std::vector<std::pair<std::size_t, std::size_t>>& pairs,
                   Registration* registration) {
  double sum = 0;
  double weights = 0;
  const double at = registration->rotation_deg * kPi / 180;
  for (const auto& [i, j] : pairs) {
    const auto& a = before[i];
    const auto& b = after[j];
    const double says = registration->mirrored ? b.angle + a.angle : b.angle - a.angle;
    double off = std::remainder(says - at, 2 * kPi);
    if (a.is_line && std::abs(off) > kPi / 2) off = std::remainder(off + kPi, 2 * kPi);
    const double sigma = std::hypot(a.angle_sigma, b.angle_sigma);
    sum += off / (sigma * sigma);
    weights += 1 / (sigma * sigma);
  }
  if (weights <= 0) return;
  registration->rotation_deg = Signed((at + sum / weights) * 180 / kPi);
  registration->rotation_uncertainty_deg = 2 / std::sqrt(weights) * 180 / kPi;
}

// Marks that did not move on the sensor may be the camera's: they prove nothing.
bool OnlyFixedMarks(const std::vector<compare::Mark>& before,
                    const std::vector<compare::Mark>& after,
                    const std::vector<std::pair<std::size_t, std::size_t>>& pairs) {
  std::size_t fixed = 0;
  for (const auto& [i, j] : pairs) fixed += compare::AtSamePixel(before[i], after[j]) ? 1 : 0;
  return fixed > 0 && pairs.size() - fixed < kLeastMarks;
}

std::string Degrees(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.1f", value);
  return text;
}

std::string WordsOf(const Registration& r) {
  if (!r.has_fibre) return "One of the photographs shows no fibre: nothing can be compared.";
  if (!r.rotation_known) {
    std::string text =
        "How the face was turned between the photographs cannot be known: neither marks nor grain "
        "say it surely. Features are compared by distance from the centre, size and kind.";
    if (r.same_face_doubtful) {
      text +=
          " Both photographs show the ferrule's grain and it does not match: check that they are "
          "of the same face.";
    }
    return text;
  }
  std::string text = "The face is turned by " + Degrees(std::abs(r.rotation_deg)) + " degrees " +
                     (r.rotation_deg < 0 ? "anticlockwise" : "clockwise") + ", known from ";
  const std::string marks =
      std::to_string(r.num_common_marks) + " marks that both photographs show";
  switch (r.source) {
    case RotationSource::kMarks:
      text += marks;
      break;
    case RotationSource::kGrain:
      text += "the ferrule's grain";
      break;
    default:
      text += marks + " and from the ferrule's grain";
  }
  if (r.mirrored) text += "; one of the two cameras shows it as in a mirror";
  return text + ".";
}

// Whether the ferrule is rougher than the picture's own noise makes it look: grain shows.
bool ShowsGrain(const Attempt& attempt) {
  const ContrastMap& map = attempt.workings.contrast;
  if (map.outer_um < kGrainTo_um || !(map.glass_level > 0) || !(map.glass_noise > 0)) return false;
  std::vector<double> ferrule;
  for (double radius = kGrainFrom_um; radius < kGrainTo_um; radius += 2) {
    const std::size_t ring = map.RingOf(static_cast<float>(radius));
    const double level = map.ring_level[ring];
    // Over what light's own noise makes of the glass's at this level, both relative.
    const double dimmer = std::max(1.0, std::sqrt(map.glass_level / level));
    if (level > 0) ferrule.push_back(map.ring_noise[ring] / level / dimmer);
  }
  if (ferrule.empty()) return false;
  std::sort(ferrule.begin(), ferrule.end());
  return ferrule[ferrule.size() / 2] > kGrainOverNoise * map.glass_noise / map.glass_level;
}

void Decide(const Evidence& evidence,
            const std::vector<compare::Mark>& before,
            const std::vector<compare::Mark>& after,
            const RegisterOptions& options,
            Registration* r) {
  const std::size_t at = evidence.best.at;
  r->mirrored = evidence.mirrored;
  r->rotation_deg = Signed(static_cast<double>(at) * kStep_deg);
  // The grain's peak is finer than the marks': looked for beside the common one.
  std::size_t grain_at = at;
  const int near = static_cast<int>(1.5 / kStep_deg);
  for (int k = -near; k <= near; ++k) {
    const auto i = static_cast<std::size_t>((static_cast<int>(at) + k + kNumAngles) % kNumAngles);
    if (evidence.grain[i] > evidence.grain[grain_at]) grain_at = i;
  }
  r->grain_sigma = evidence.grain[grain_at];
  r->grain_second_sigma = FindPeak(evidence.grain, at, options.apart_deg).value;
  r->marks_log_odds = evidence.marks[at];
  r->marks_second_log_odds = FindPeak(evidence.marks, at, options.apart_deg).value;
  r->margin = evidence.best.value - evidence.second.value;

  const bool grain = r->grain_sigma / evidence.grain_noise >= kGrainSpeaks;
  const auto pairs =
      compare::CommonMarks(before, after, r->rotation_deg * kPi / 180, r->mirrored, false);
  r->num_common_marks = static_cast<int>(pairs.size());
  const bool fixed_only = !grain && OnlyFixedMarks(before, after, pairs);
  const bool marks = r->marks_log_odds >= kMarksSpeak && !fixed_only;
  const bool enough = grain || (marks && r->num_common_marks >= kLeastMarks);
  r->rotation_known =
      enough && evidence.best.value >= options.min_log_odds && r->margin >= options.min_margin;
  r->source = grain && marks ? RotationSource::kBoth
              : grain        ? RotationSource::kGrain
              : marks        ? RotationSource::kMarks
                             : RotationSource::kNone;
  if (grain) {
    r->rotation_deg = Signed(
        (static_cast<double>(grain_at) + BetweenSteps(evidence.grain, grain_at)) * kStep_deg);
    r->rotation_uncertainty_deg = 2 * kStep_deg;
  } else {
    RotateByMarks(before, after, pairs, r);
  }
}

}  // namespace

cv::Point2d Registration::ToAfter(cv::Point2d before_um) const {
  const double angle = rotation_deg * kPi / 180;
  const double y = mirrored ? -before_um.y : before_um.y;
  return {std::cos(angle) * before_um.x - std::sin(angle) * y + shift_um.x,
          std::sin(angle) * before_um.x + std::cos(angle) * y + shift_um.y};
}

cv::Point2d Registration::ToBefore(cv::Point2d after_um) const {
  const double angle = rotation_deg * kPi / 180;
  const cv::Point2d d = after_um - shift_um;
  const double y = -std::sin(angle) * d.x + std::cos(angle) * d.y;
  return {std::cos(angle) * d.x + std::sin(angle) * d.y, mirrored ? -y : y};
}

std::optional<std::string> RegisterOptions::Problem() const {
  if (auto problem = RangeProblem("RegisterOptions.min_log_odds", min_log_odds, 5, 50))
    return problem;
  if (auto problem = RangeProblem("RegisterOptions.min_margin", min_margin, 5, 50)) return problem;
  return RangeProblem("RegisterOptions.apart_deg", apart_deg, 1, 30);
}

Registration RegisterAttempts(const Attempt& before,
                              const Attempt& after,
                              const RegisterOptions& options) {
  Registration r;
  if (before.grade.fibres.empty() || after.grade.fibres.empty()) {
    r.words = WordsOf(r);
    return r;
  }
  r.has_fibre = true;
  const FibreGrade& first = before.grade.fibres.front();
  const FibreGrade& second = after.grade.fibres.front();
  r.scale_ratio = second.scale.um_per_px / first.scale.um_per_px;
  const auto marks_before = compare::MarksOf(first);
  const auto marks_after = compare::MarksOf(second);
  Evidence straight = Gather(before, after, marks_before, marks_after, false);
  Evidence mirrored = Gather(before, after, marks_before, marks_after, true);
  const double noise =
      std::max(1.0, NextGrain(straight, mirrored, options.apart_deg) / kOrdinarySecond);
  Weigh(noise, options.apart_deg, &straight);
  Weigh(noise, options.apart_deg, &mirrored);
  Evidence better = straight.best.value >= mirrored.best.value ? straight : mirrored;
  const Evidence& other = better.mirrored ? straight : mirrored;
  if (other.best.value > better.second.value) better.second = other.best;
  Decide(better, marks_before, marks_after, options, &r);

  r.shift_uncertainty_um =
      std::hypot(first.geometry.centre_uncertainty_px * first.scale.um_per_px,
                 second.geometry.centre_uncertainty_px * second.scale.um_per_px);
  if (r.rotation_known && r.source != RotationSource::kMarks) {
    if (const auto shift = compare::FindShift(before, after, r)) {
      r.shift_um = shift->shift_um;
      r.shift_uncertainty_um = 0.3;
    }
  }
  if (!r.rotation_known) {
    r.source = RotationSource::kNone;
    r.same_face_doubtful = ShowsGrain(before) && ShowsGrain(after);
  }
  r.words = WordsOf(r);
  return r;
}

const char* RecordWord(RotationSource source) {
  switch (source) {
    case RotationSource::kMarks:
      return "marks";
    case RotationSource::kGrain:
      return "grain";
    case RotationSource::kBoth:
      return "both";
    case RotationSource::kNone:
      break;
  }
  return "none";
}

}  // namespace endgrade

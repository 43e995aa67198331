// Two or more photographs of one face, put on top of each other: what went, what stayed, what came.
//
//   auto comparison = endgrade::CompareFrames({before, after}, limits);
//   for (const endgrade::Track& track : comparison->tracks) ...
//
// A registration that is wrong and called right is the worst this can do: where rotation cannot be
// known it is said so, and features are compared by their distance from the centre, size and kind.
#pragma once

#include "endgrade/grade_image.h"

#include <opencv2/core.hpp>

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace endgrade {

// One photograph of the face with all that grading it found. References must outlive it.
struct Attempt {
  const Frame& frame;
  const Grade& grade;
  const Workings& workings;
};

// What told the rotation. Written to records; do not rename.
enum class RotationSource { kNone, kMarks, kGrain, kBoth };

// How one photograph's face lies on another's. `before` and `after` are end-face micrometres about
// each picture's own cladding centre.
struct Registration {
  bool has_fibre = false;  // a fibre was found in both; nothing below holds without
  bool rotation_known =
      false;              // false: `rotation_deg` is the best guess and nothing may rest on it
  bool mirrored = false;  // one of the two set-ups shows the face as in a mirror
  RotationSource source = RotationSource::kNone;

  double rotation_deg = 0;              // from before to after, clockwise as seen, in (-180, 180]
  double rotation_uncertainty_deg = 0;  // k = 2
  cv::Point2d shift_um;                 // of after's centre, beyond what the claddings say
  double shift_uncertainty_um = 0;      // k = 2
  double scale_ratio = 1;               // um a pixel of after over that of before

  // Evidence. Grain: the correlation's best peak over the spread of the correlation away from it,
  // and the second-best peak at least `RegisterOptions.apart_deg` away. Marks: natural logarithm of
  // how much likelier the marks of both pictures lie so than by chance, best and second best.
  double grain_sigma = 0;
  double grain_second_sigma = 0;
  double marks_log_odds = 0;
  double marks_second_log_odds = 0;
  int num_common_marks = 0;  // at `rotation_deg`
  double margin = 0;         // log-odds of the best rotation over the second best, both sources

  // Both show the ferrule's grain and it does not match: these may not be of one face at all.
  bool same_face_doubtful = false;

  std::string words;  // a sentence or two for a person

  [[nodiscard]] cv::Point2d ToAfter(cv::Point2d before_um) const;
  [[nodiscard]] cv::Point2d ToBefore(cv::Point2d after_um) const;
};

struct RegisterOptions {
  // Least logarithm of the odds by which the best rotation must beat chance, and the second best.
  // Chosen on tuning seeds: tests/benchmarks/log/. Range [5, 50].
  double min_log_odds = 12.0;
  double min_margin = 10.0;

  // Rotations nearer to each other than this are one and the same: marks' own places leave so much
  // of a peak's foot. Range [1, 30].
  double apart_deg = 10.0;

  [[nodiscard]] std::optional<std::string> Problem() const;
};

// Cladding centre, size and shape give place and scale; rotation comes from what stays on the face:
// marks that both pictures show at the same places, and the ferrule's grain around the cladding.
[[nodiscard]] Registration RegisterAttempts(const Attempt& before,
                                            const Attempt& after,
                                            const RegisterOptions& options = {});

// What became of a feature. Written to records; do not rename.
enum class Fate { kStillThere, kGone, kMoved, kNew, kCannotTell };

// A look at the place where a feature should be, whether or not anything was found there: mean
// contrast over the feature's own pixels against its surroundings, at the blur of the softer of the
// two pictures.
struct ForcedLook {
  double expected = 0;  // contrast in the picture that shows the feature
  double measured = 0;  // in the other one
  double noise = 0;     // standard deviation of such a measurement there
};

struct FeatureFate {
  Fate fate = Fate::kCannotTell;
  std::optional<std::size_t> before;  // index into the first picture's features
  std::optional<std::size_t> after;
  std::optional<ForcedLook> look;
  double moved_um = 0;
  bool by_radius = false;  // rotation unknown: matched by distance from the centre, size and kind
  bool of_camera = false;  // stayed at its place in the picture while the face turned under it
  std::string words;       // why, one clause without a capital
};

struct CompareOptions {
  RegisterOptions registration;

  // A feature that is found in one picture only has gone, or is new, when the other one would have
  // shown it: its contrast there at least so many times the noise of a forced look. Range [2, 20].
  double would_show_sigma = 3.0;

  // Share of that contrast below which it is not there any more. Range [0.1, 0.9].
  double gone_below = 0.45;

  // How far a thing may have been moved and still be known as the same, um. Range [0, 100].
  double farthest_move_um = 25.0;

  [[nodiscard]] std::optional<std::string> Problem() const;
};

struct PairComparison {
  std::size_t before = 0;  // indices of the attempts
  std::size_t after = 1;
  Registration registration;
  std::vector<FeatureFate> fates;  // features of before in their order, then those that are new
};

// One thing on the face through all attempts.
struct TrackStep {
  std::optional<std::size_t> feature;  // as found in this attempt
  std::optional<Fate> fate;  // since the attempt before; empty: not there yet, or long gone
  std::string words;
};

struct Track {
  int id = 0;                     // 1-based
  std::vector<TrackStep> steps;   // by attempt
  Fate fate = Fate::kCannotTell;  // at the last attempt, over all of them
  int num_survived = 0;           // cleanings after which it was still at its place
  bool likely_permanent = false;  // there at the last attempt, after at least one cleaning
  bool by_radius = false;         // somewhere on the way rotation was not known

  [[nodiscard]] std::size_t FirstSeen() const;
  // The last attempt that found it.
  [[nodiscard]] std::size_t LastSeen() const;
};

struct Comparison {
  std::vector<PairComparison> pairs;  // of each attempt with the one before, in order
  std::vector<Track> tracks;          // inner zones first as in the records, then what came later

  // Whether each attempt can be turned to lie like the first: every rotation on the way is known.
  // to_first[i] takes attempt i's end-face micrometres to the first's.
  std::vector<std::optional<cv::Matx23d>> to_first;
};

// Compares attempts in the order in which they were taken.
//
//   attempts  two or more of one face, graded with the same limits; one without a fibre is compared
//             with nothing
//   errors    kBadOption
[[nodiscard]] Result<Comparison> CompareAttempts(const std::vector<Attempt>& attempts,
                                                 const CompareOptions& options = {});

// What the comparison said when the attempt with this index was the last one.
[[nodiscard]] Comparison UpToAttempt(const Comparison& comparison, std::size_t last);

// The same for a caller that only has the pictures: grades them first.
struct ComparedFrames {
  std::vector<Grade> grades;
  std::vector<Workings> workings;
  Comparison comparison;
};
[[nodiscard]] Result<ComparedFrames> CompareFrames(const std::vector<Frame>& frames,
                                                   const Limits& limits,
                                                   const GradeOptions& grading = {},
                                                   const CompareOptions& options = {});

[[nodiscard]] const char* RecordWord(Fate fate);              // "gone", "still_there", ...
[[nodiscard]] const char* FateWords(Fate fate);               // "gone", "still there", ...
[[nodiscard]] const char* RecordWord(RotationSource source);  // "none", "marks", "grain", "both"

}  // namespace endgrade

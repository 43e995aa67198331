// Why a picture cannot be graded, or what a person should know about the grade.
#pragma once

#include <array>
#include <string>

namespace endgrade {

// `code` is written to records and never renamed; `text` says what it means and what to do next.
struct Reason {
  std::string code;
  std::string text;
};

// What a code does to the verdict.
enum class ReasonEffect {
  kFails,    // makes it `fail`
  kForbids,  // forbids a pass: `ungradable` unless something fails; then it is a warning
  kWarns,    // stands beside the verdict and changes nothing
};

struct ReasonCode {
  const char* code;
  ReasonEffect effect;
  const char* set_by;  // the step that finds it
  const char* meaning;
};

// Every code there is. Add at the end of a group; never rename.
inline constexpr std::array kReasonCodes = {
    ReasonCode{"rule_broken", ReasonEffect::kFails, "judge", "what is seen breaks a rule"},
    ReasonCode{"guard_band",
               ReasonEffect::kFails,
               "judge",
               "guarded decision: a rule holds, but not by more than the sizes' uncertainty"},

    ReasonCode{"unreadable", ReasonEffect::kForbids, "present", "the file could not be read"},
    ReasonCode{"no_fibre", ReasonEffect::kForbids, "locate", "no cladding edge was found"},
    ReasonCode{"out_of_focus", ReasonEffect::kForbids, "sight", "the rim's edge is too blurred"},
    ReasonCode{"saturated", ReasonEffect::kForbids, "sight", "too many pixels are clipped"},
    ReasonCode{
        "too_dark", ReasonEffect::kForbids, "sight", "a few grey levels hold all of the face"},
    ReasonCode{"hazy", ReasonEffect::kForbids, "sight", "even the glass's rim hardly stands out"},
    ReasonCode{"shaken", ReasonEffect::kForbids, "sight", "the picture moved while it was taken"},
    ReasonCode{"cladding_size",
               ReasonEffect::kForbids,
               "scale",
               "at the given scale the cladding does not measure what it should"},
    ReasonCode{"scale_unknown", ReasonEffect::kForbids, "judge", "there is no usable scale"},
    ReasonCode{"zone_cut_off",
               ReasonEffect::kForbids,
               "judge",
               "a zone with rules is partly outside the picture"},
    ReasonCode{"cannot_see_small",
               ReasonEffect::kForbids,
               "judge",
               "the smallest feature that matters would not have been found"},
    ReasonCode{"feature_cut_off",
               ReasonEffect::kForbids,
               "judge",
               "a feature runs out of the picture and could break a rule there"},
    ReasonCode{"size_unknown",
               ReasonEffect::kForbids,
               "judge",
               "a feature without a usable size could break a rule"},
    ReasonCode{"too_coarse",
               ReasonEffect::kForbids,
               "judge",
               "a rule hangs on sizes or counts that pixels as large do not tell well enough"},
    ReasonCode{"wrong_fibre",
               ReasonEffect::kForbids,
               "judge",
               "the core is that of another kind of fibre than the limits are for"},
    ReasonCode{"cladding_not_round",
               ReasonEffect::kForbids,
               "judge",
               "the cladding is too oval for its sizes to be corrected"},
    ReasonCode{"optics_dirt",
               ReasonEffect::kForbids,
               "camera",
               "dirt on the camera's own optics hides a part of a zone in which something could "
               "break a rule"},
    ReasonCode{"scratches_overlap",
               ReasonEffect::kForbids,
               "judge",
               "a count of scratches is at its limit, and one that stops at another may go on "
               "beneath it"},
    ReasonCode{"scratch_or_lint",
               ReasonEffect::kForbids,
               "judge",
               "what was taken for an allowed scratch may be lint, which would break a rule"},
    ReasonCode{"reaches_outward",
               ReasonEffect::kForbids,
               "judge",
               "a defect of a zone without limits reaches far into one that would not allow it"},
    ReasonCode{"uneven_face",
               ReasonEffect::kForbids,
               "sight",
               "a long edge parts a lighter from a darker part of the face: a film may lie there"},
    ReasonCode{"core_surround",
               ReasonEffect::kForbids,
               "sight",
               "the glass around a single-mode core is darker or brighter than a core's end is"},
    ReasonCode{"bad_limits", ReasonEffect::kForbids, "judge", "the limits are not fit to grade by"},
    ReasonCode{"bad_option", ReasonEffect::kForbids, "judge", "an option is outside its range"},

    ReasonCode{"may_be_broken",
               ReasonEffect::kWarns,
               "judge",
               "a rule looks broken, in a picture too poor to be sure"},
    ReasonCode{"marginal",
               ReasonEffect::kWarns,
               "judge",
               "a rule's outcome could change within the sizes' uncertainty"},
    ReasonCode{"core_size",
               ReasonEffect::kWarns,
               "judge",
               "the core measures neither what the limits expect nor another known kind"},
    ReasonCode{"cladding_oval",
               ReasonEffect::kWarns,
               "judge",
               "the cladding is oval: pixels are not square, or the face is tilted"},
    ReasonCode{"drawn_line",
               ReasonEffect::kWarns,
               "lay",
               "straight lines that are drawn into the picture were left out"},
    ReasonCode{"camera_changed",
               ReasonEffect::kWarns,
               "camera",
               "a shadow that the camera profile knows is not there"},
};

}  // namespace endgrade

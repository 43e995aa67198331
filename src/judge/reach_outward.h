// Things of a zone where any is allowed that reach far into one where they are not.
#pragma once

#include "endgrade/limits.h"
#include "endgrade/measure.h"
#include "endgrade/reason.h"
#include "endgrade/scale.h"

#include <optional>
#include <vector>

namespace endgrade {

// A defect counts in the innermost zone that it touches. Where that zone has no limit for it, two
// things that touch, or that were taken for one, would be allowed wherever the second one lies: so
// would a smear of 70 um in the contact zone that hangs on a speck at the rim. What lies beyond the
// zone may be three times as large as an outer zone allows; more is a reason against a pass.
//
//   returns   code "reaches_outward"; nothing where there is no such defect
[[nodiscard]] std::optional<Reason> ReachesFarOutward(const std::vector<Feature>& features,
                                                      const Limits& limits,
                                                      const Scale& scale);

}  // namespace endgrade

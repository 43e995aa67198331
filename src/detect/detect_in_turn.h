// DetectRegions in two steps: the first may already tell that the face has to be looked at again.
#pragma once

#include "endgrade/detect.h"

namespace endgrade {

// All but what AddLastFound adds: no line is missing.
[[nodiscard]] Detection DetectMarks(const ContrastMap& contrast, const DetectOptions& options);

// Films, and what no step before saw.
void AddLastFound(const ContrastMap& contrast, Detection* detection);

}  // namespace endgrade

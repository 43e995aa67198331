// The sentences of this step's errors. The file's name is put in by whoever knows it.
#pragma once

#include "endgrade/result.h"

#include <string>

namespace endgrade::read {

// Starts like a picture and is damaged: `what` says how.
[[nodiscard]] Error Damaged(std::string what);

// The file ends before its picture does.
[[nodiscard]] Error CutShort(const std::string& kind);

// A kind of file or of picture that we do not read.
[[nodiscard]] Error Unsupported(std::string what);

}  // namespace endgrade::read

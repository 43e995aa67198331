#include "endgrade/version.h"

#include "endgrade_build.h"

namespace endgrade {

std::string Version() { return ENDGRADE_VERSION; }
std::string Build() { return ENDGRADE_BUILD; }

}  // namespace endgrade

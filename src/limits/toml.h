// The one way in which toml++ is included: header-only, so that users of the installed library need
// not have it, and without exceptions, so that a mistake in a file is a value with a line number.
#pragma once

#define TOML_HEADER_ONLY 1
#define TOML_EXCEPTIONS 0
#define TOML_ENABLE_FORMATTERS 0

#include <toml++/toml.h>

// The code of toml++ itself, for all that includes toml.h.
#define TOML_IMPLEMENTATION
#include "limits/toml.h"

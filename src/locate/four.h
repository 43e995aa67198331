// Four numbers side by side, as Eight of core/wide.h is of eight floats.
#pragma once

namespace endgrade::locate {

using Four = double __attribute__((vector_size(32)));
struct __attribute__((packed, aligned(8), may_alias)) FourAnywhere {
  Four value;
};
using FourFloats = float __attribute__((vector_size(16)));
struct __attribute__((packed, aligned(4), may_alias)) FourFloatsAnywhere {
  FourFloats value;
};

inline const FourAnywhere& FourAt(const double* at) {
  return *reinterpret_cast<const FourAnywhere*>(at);
}
inline FourAnywhere& FourAt(double* at) { return *reinterpret_cast<FourAnywhere*>(at); }
inline const FourFloatsAnywhere& FourAt(const float* at) {
  return *reinterpret_cast<const FourFloatsAnywhere*>(at);
}

}  // namespace endgrade::locate

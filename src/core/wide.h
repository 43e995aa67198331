// Loops that are worth two versions: one for every x86-64, one for those with AVX2. Which is run is
// decided once, when the program starts. Products and sums are never contracted (-ffp-contract=off)
// and never reordered, so that both give the same bits.
//
// Not under the thread sanitizer, whose run-time is not there yet when the choice is made.
#pragma once

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_THREAD__)
#define ENDGRADE_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define ENDGRADE_WIDE
#endif

namespace endgrade {

// Eight floats side by side, which the compiler keeps in one or two registers.
using Eight = float __attribute__((vector_size(32)));
// The same at any float's place. A structure, since Clang forgets a typedef's alignment where it is
// referred to, and then says that it reads what is not aligned.
struct __attribute__((packed, aligned(4), may_alias)) EightAnywhere {
  Eight value;
};

inline const EightAnywhere& EightAt(const float* at) {
  return *reinterpret_cast<const EightAnywhere*>(at);
}
inline EightAnywhere& EightAt(float* at) { return *reinterpret_cast<EightAnywhere*>(at); }

// And four doubles, or the four floats that they are made of.
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

}  // namespace endgrade

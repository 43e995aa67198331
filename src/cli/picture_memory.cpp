#include "cli/picture_memory.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdlib>

#if defined(__GLIBC__) && !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define ENDGRADE_HAS_ONE_HEAP 1
#include <malloc.h>
#include <sys/mman.h>
#endif

namespace endgrade::cli {

#ifdef ENDGRADE_HAS_ONE_HEAP

namespace {

constexpr std::size_t kMegabyte = std::size_t{1} << 20U;
constexpr std::uintptr_t kHugePage = 2 * kMegabyte;
constexpr std::size_t kPiece = 24 * kMegabyte;  // glibc takes no threshold above 32 MB
constexpr std::size_t kPieces = 10;             // more than most runs will need
constexpr std::size_t kTidyEvery = 50;          // pictures

}  // namespace

void PreparePictureMemory() {
  mallopt(M_ARENA_MAX, 1);
  mallopt(M_MMAP_THRESHOLD, 32 * kMegabyte);
  mallopt(M_TRIM_THRESHOLD, 1024 * kMegabyte);
  // The heap is made long once, and given back to itself untouched: so its addresses are known.
  std::array<char*, kPieces> pieces{};
  for (char*& piece : pieces) piece = static_cast<char*>(std::malloc(kPiece));
  const auto first = reinterpret_cast<std::uintptr_t>(pieces.front());
  const auto last = reinterpret_cast<std::uintptr_t>(pieces.back());
  const bool in_a_row = first != 0 && last > first && last - first < kPieces * kPiece;
  const std::uintptr_t from = (first + kHugePage - 1) / kHugePage * kHugePage;
  const std::uintptr_t to = (last + kPiece) / kHugePage * kHugePage;
  // Advice that is not taken does no harm.
  if (in_a_row)
    static_cast<void>(madvise(pieces.front() + (from - first), to - from, MADV_HUGEPAGE));
  for (char* piece : pieces) std::free(piece);
}

void TidyPictureMemory(std::size_t pictures_done) {
  if (pictures_done % kTidyEvery == 0) malloc_trim(0);
}

#else

void PreparePictureMemory() {}

void TidyPictureMemory(std::size_t) {}

#endif

}  // namespace endgrade::cli

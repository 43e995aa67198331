// The fonts of the overlay, inside the program: it needs no font file where it runs.
#pragma once

#include <cstdint>
#include <span>

namespace endgrade {

// DejaVu Sans 2.37, the bytes of its TrueType files; licence in src/present/font_licence.txt.
[[nodiscard]] std::span<const std::uint8_t> RegularFont();
[[nodiscard]] std::span<const std::uint8_t> BoldFont();

}  // namespace endgrade

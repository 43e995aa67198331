#include "present/embedded_fonts.h"

// The assembler copies the files that CMake found; a generated array of 1.4 million numbers would
// take the compiler longer than the rest of this library.
#define ENDGRADE_EMBED(name, file) \
  asm(".pushsection .rodata\n"     \
      ".balign 16\n"               \
      ".global endgrade_" name     \
      "\n"                         \
      ".hidden endgrade_" name     \
      "\n"                         \
      "endgrade_" name             \
      ":\n"                        \
      ".incbin \"" file            \
      "\"\n"                       \
      ".global endgrade_" name     \
      "_end\n"                     \
      ".hidden endgrade_" name     \
      "_end\n"                     \
      "endgrade_" name             \
      "_end:\n"                    \
      ".byte 0\n"                  \
      ".popsection\n")

ENDGRADE_EMBED("regular_font", ENDGRADE_REGULAR_FONT);
ENDGRADE_EMBED("bold_font", ENDGRADE_BOLD_FONT);

extern "C" {
extern const std::uint8_t endgrade_regular_font[];
extern const std::uint8_t endgrade_regular_font_end[];
extern const std::uint8_t endgrade_bold_font[];
extern const std::uint8_t endgrade_bold_font_end[];
}

namespace endgrade {

std::span<const std::uint8_t> RegularFont() {
  return {endgrade_regular_font, endgrade_regular_font_end};
}

std::span<const std::uint8_t> BoldFont() { return {endgrade_bold_font, endgrade_bold_font_end}; }

}  // namespace endgrade

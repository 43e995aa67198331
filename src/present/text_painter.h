// Text in a picture, smooth, in the fonts that the program carries.
#pragma once

#include "present/paint.h"

#include <opencv2/core.hpp>

#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

namespace endgrade {

struct TextStyle {
  double size_px = 16;  // of an em
  bool bold = false;
  Colour colour = kBlack;
};

// Not to be shared between threads; each overlay makes its own. Text is UTF-8 as PrintableText
// leaves it. A character that the font does not have shows as an empty box.
class TextPainter {
 public:
  TextPainter();
  ~TextPainter();
  TextPainter(const TextPainter&) = delete;
  TextPainter& operator=(const TextPainter&) = delete;

  // Advance from the first character's start to the last one's end, pixels.
  [[nodiscard]] double Width(std::string_view text, const TextStyle& style);

  // Height of a capital letter, pixels.
  [[nodiscard]] double CapHeight(const TextStyle& style);

  // `baseline`: where the first character starts.
  void Draw(cv::Mat& picture, cv::Point2d baseline, std::string_view text, const TextStyle& style);

  // The same with a dark rim of `rim_px`, so that it shows on bright pictures too.
  void DrawCased(cv::Mat& picture,
                 cv::Point2d baseline,
                 std::string_view text,
                 const TextStyle& style,
                 double rim_px);

  // Lines no wider than `width_px`, broken at spaces, or within a word where it must be.
  [[nodiscard]] std::vector<std::string> Wrap(std::string_view text,
                                              const TextStyle& style,
                                              double width_px);

  // The text, or its two ends with "…" between them where it is wider than `width_px`: what tells
  // file names apart stands at either end.
  [[nodiscard]] std::string Elided(std::string_view text, const TextStyle& style, double width_px);

 private:
  struct Glyph {
    cv::Mat coverage;       // CV_8UC1, may be empty
    cv::Point from_origin;  // of its top-left pixel
    double advance_px = 0;
  };
  using GlyphKey = std::tuple<bool, long, char32_t>;  // bold, size in 1/64 pixels, character

  const Glyph& FindGlyph(char32_t character, const TextStyle& style);
  // Calls `visit(glyph, x)` for each character, x from the start, and returns the whole advance.
  template <typename Visit>
  double ForEachGlyph(std::string_view text, const TextStyle& style, const Visit& visit);

  struct Fonts;
  std::unique_ptr<Fonts> fonts_;
  std::map<GlyphKey, Glyph> glyphs_;
};

}  // namespace endgrade

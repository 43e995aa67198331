#include "present/text_painter.h"

#include "present/embedded_fonts.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <ft2build.h>
#include <stdexcept>
#include FT_FREETYPE_H

namespace endgrade {
namespace {

constexpr double kFixed = 64.0;  // FreeType's 26.6 fixed-point numbers

long FixedSize(const TextStyle& style) {
  return std::lround(std::max(style.size_px, 1.0) * kFixed);
}

void Check(FT_Error error, const char* what) {
  if (error != 0) throw std::runtime_error(std::string("FreeType: cannot ") + what);
}

FT_Face OpenFace(FT_Library library, std::span<const std::uint8_t> font) {
  FT_Face face = nullptr;
  Check(FT_New_Memory_Face(library, font.data(), static_cast<FT_Long>(font.size()), 0, &face),
        "open its font");
  return face;
}

// The first character of well-formed UTF-8, which is taken off `text`.
char32_t TakeCharacter(std::string_view* text) {
  const auto lead = static_cast<unsigned char>((*text)[0]);
  const std::size_t length = lead < 0x80 ? 1 : lead < 0xE0 ? 2 : lead < 0xF0 ? 3 : 4;
  char32_t character = length == 1 ? lead : lead & (0x7Fu >> length);
  for (std::size_t i = 1; i < std::min(length, text->size()); ++i) {
    character = character << 6 | (static_cast<unsigned char>((*text)[i]) & 0x3Fu);
  }
  text->remove_prefix(std::min(length, text->size()));
  return character;
}

// Bytes at which a character starts, and the text's size.
std::vector<std::size_t> CharacterStarts(std::string_view text) {
  std::vector<std::size_t> starts;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if ((static_cast<unsigned char>(text[i]) & 0xC0) != 0x80) starts.push_back(i);
  }
  starts.push_back(text.size());
  return starts;
}

}  // namespace

struct TextPainter::Fonts {
  Fonts() {
    Check(FT_Init_FreeType(&library), "start");
    regular = OpenFace(library, RegularFont());
    bold = OpenFace(library, BoldFont());
  }
  ~Fonts() { FT_Done_FreeType(library); }  // takes the faces with it
  Fonts(const Fonts&) = delete;
  Fonts& operator=(const Fonts&) = delete;

  FT_Library library = nullptr;
  FT_Face regular = nullptr;
  FT_Face bold = nullptr;
};

TextPainter::TextPainter() : fonts_(std::make_unique<Fonts>()) {}
TextPainter::~TextPainter() = default;

const TextPainter::Glyph& TextPainter::FindGlyph(char32_t character, const TextStyle& style) {
  const auto [place, is_new] =
      glyphs_.try_emplace(GlyphKey{style.bold, FixedSize(style), character});
  Glyph& glyph = place->second;
  if (!is_new) return glyph;
  FT_Face face = style.bold ? fonts_->bold : fonts_->regular;
  Check(FT_Set_Char_Size(face, 0, FixedSize(style), 72, 72), "set a size");
  // Light hinting sets strokes on whole rows and leaves widths alone.
  Check(FT_Load_Char(face, character, FT_LOAD_RENDER | FT_LOAD_TARGET_LIGHT), "draw a character");
  const FT_GlyphSlot slot = face->glyph;
  glyph.advance_px = static_cast<double>(slot->linearHoriAdvance) / 65536.0;
  glyph.from_origin = {slot->bitmap_left, -slot->bitmap_top};
  const FT_Bitmap& bitmap = slot->bitmap;
  if (bitmap.rows == 0 || bitmap.width == 0) return glyph;
  glyph.coverage = cv::Mat(static_cast<int>(bitmap.rows),
                           static_cast<int>(bitmap.width),
                           CV_8UC1,
                           bitmap.buffer,
                           static_cast<std::size_t>(bitmap.pitch))
                       .clone();
  return glyph;
}

template <typename Visit>
double TextPainter::ForEachGlyph(std::string_view text,
                                 const TextStyle& style,
                                 const Visit& visit) {
  double x = 0;
  while (!text.empty()) {
    const Glyph& glyph = FindGlyph(TakeCharacter(&text), style);
    visit(glyph, x);
    x += glyph.advance_px;
  }
  return x;
}

double TextPainter::Width(std::string_view text, const TextStyle& style) {
  return ForEachGlyph(text, style, [](const Glyph&, double) {});
}

double TextPainter::CapHeight(const TextStyle& style) {
  return -FindGlyph(U'H', style).from_origin.y;
}

void TextPainter::Draw(cv::Mat& picture,
                       cv::Point2d baseline,
                       std::string_view text,
                       const TextStyle& style) {
  const int y = static_cast<int>(std::lround(baseline.y));
  ForEachGlyph(text, style, [&](const Glyph& glyph, double x) {
    const cv::Point origin(static_cast<int>(std::lround(baseline.x + x)), y);
    if (!glyph.coverage.empty()) {
      BlendCoverage(picture, glyph.coverage, origin + glyph.from_origin, style.colour);
    }
  });
}

void TextPainter::DrawCased(cv::Mat& picture,
                            cv::Point2d baseline,
                            std::string_view text,
                            const TextStyle& style,
                            double rim_px) {
  const int rim = std::max(1, static_cast<int>(std::lround(rim_px)));
  const cv::Mat brush = cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * rim + 1, 2 * rim + 1});
  const int y = static_cast<int>(std::lround(baseline.y));
  ForEachGlyph(text, style, [&](const Glyph& glyph, double x) {
    if (glyph.coverage.empty()) return;
    cv::Mat spread;
    cv::copyMakeBorder(glyph.coverage, spread, rim, rim, rim, rim, cv::BORDER_CONSTANT, 0);
    cv::dilate(spread, spread, brush);
    const cv::Point origin(static_cast<int>(std::lround(baseline.x + x)), y);
    BlendCoverage(picture, spread, origin + glyph.from_origin - cv::Point(rim, rim), kBlack, 0.85);
  });
  Draw(picture, baseline, text, style);
}

std::vector<std::string> TextPainter::Wrap(std::string_view text,
                                           const TextStyle& style,
                                           double width_px) {
  std::vector<std::string> lines;
  while (!text.empty()) {
    const std::vector<std::size_t> starts = CharacterStarts(text);
    std::size_t fits = 0;      // bytes that fit on this line
    std::size_t at_space = 0;  // of these, those before the last space
    double x = 0;
    for (std::size_t i = 0; i + 1 < starts.size(); ++i) {
      const std::string_view character = text.substr(starts[i], starts[i + 1] - starts[i]);
      if (character == " ") at_space = starts[i];
      x += Width(character, style);
      if (x > width_px && i > 0 && character != " ") break;
      fits = starts[i + 1];
    }
    const bool is_last = fits == text.size();
    const std::size_t cut = is_last || at_space == 0 ? fits : at_space;
    lines.emplace_back(text.substr(0, cut));
    text.remove_prefix(cut);
    while (!text.empty() && text[0] == ' ') text.remove_prefix(1);
  }
  return lines;
}

std::string TextPainter::Elided(std::string_view text, const TextStyle& style, double width_px) {
  const double whole_px = Width(text, style);
  if (whole_px <= width_px) return std::string(text);
  const std::vector<std::size_t> starts = CharacterStarts(text);
  const std::size_t count = starts.size() - 1;
  // Not many more than their share can fit; from there down to what does.
  const auto share = static_cast<std::size_t>(static_cast<double>(count) * width_px / whole_px);
  for (std::size_t kept = std::min(count - 1, share + share / 4 + 1); kept > 0; --kept) {
    const std::size_t head = (kept + 1) / 2;
    const std::size_t tail = kept - head;
    const std::string shorter = std::string(text.substr(0, starts[head])) + "\u2026" +
                                std::string(text.substr(starts[count - tail]));
    if (Width(shorter, style) <= width_px) return shorter;
  }
  return "\u2026";
}

}  // namespace endgrade

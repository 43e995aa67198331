#include "limits/size_range.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>

namespace endgrade {
namespace {

constexpr double kUnbounded = std::numeric_limits<double>::infinity();

void SkipSpace(std::string_view& text) {
  const auto start = text.find_first_not_of(" \t");
  text.remove_prefix(start == std::string_view::npos ? text.size() : start);
}

// Takes `word` off the front of `text` if it is there.
bool Take(std::string_view& text, std::string_view word) {
  SkipSpace(text);
  if (!text.starts_with(word)) return false;
  text.remove_prefix(word.size());
  return true;
}

std::optional<double> TakeNumber(std::string_view& text) {
  SkipSpace(text);
  if (text.empty() || !(text[0] >= '0' && text[0] <= '9')) return std::nullopt;  // no sign, no inf
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || !std::isfinite(value)) return std::nullopt;
  text.remove_prefix(static_cast<size_t>(end - text.data()));
  return value;
}

bool Done(std::string_view text) {
  SkipSpace(text);
  return text.empty();
}

std::optional<SizeRange> ParseUpTo(std::string_view text, bool open) {
  SizeRange range;
  range.to_um = TakeNumber(text);
  range.to_open = open;
  if (!range.to_um || *range.to_um <= 0 || !Done(text)) return std::nullopt;
  return range;
}

enum class End { kMayBeLeftOut, kMustBeThere };

std::optional<SizeRange> ParseFrom(std::string_view text, bool open, End end) {
  SizeRange range;
  range.from_um = TakeNumber(text);
  range.from_open = open;
  if (!range.from_um) return std::nullopt;
  if (Done(text)) return end == End::kMayBeLeftOut ? std::optional(range) : std::nullopt;
  if (!Take(text, "to")) return std::nullopt;
  range.to_open = Take(text, "<");
  range.to_um = TakeNumber(text);
  const bool empty = !range.to_um || !(LowerCut(range) < UpperCut(range));
  return empty || !Done(text) ? std::nullopt : std::optional(range);
}

}  // namespace

std::optional<SizeRange> ParseSizeRange(std::string_view text) {
  std::string_view rest = text;
  if (Take(rest, "any")) return Done(rest) ? std::optional(SizeRange{}) : std::nullopt;
  for (const std::string_view sign : {"<=", "\u2264"}) {
    if (Take(rest, sign)) return ParseUpTo(rest, false);
  }
  if (Take(rest, "<")) return ParseUpTo(rest, true);
  for (const std::string_view sign : {">=", "\u2265"}) {
    if (Take(rest, sign)) return ParseFrom(rest, false, End::kMayBeLeftOut);
  }
  if (Take(rest, ">")) return ParseFrom(rest, true, End::kMayBeLeftOut);
  return ParseFrom(rest, false, End::kMustBeThere);  // a bare number is no range
}

std::string NumberWords(double value) {
  char text[32];
  const auto [end, error] = std::to_chars(text, text + sizeof text, value);
  return error == std::errc() ? std::string(text, end) : "?";
}

std::string SizeWords(const SizeRange& range) {
  if (!range.from_um && !range.to_um) return "of any size";
  if (!range.from_um)
    return (range.to_open ? "below " : "up to ") + NumberWords(*range.to_um) + " um";
  const std::string from = NumberWords(*range.from_um);
  if (!range.to_um) return range.from_open ? "over " + from + " um" : "of " + from + " um and more";
  return (range.from_open ? "over " : "from ") + from + (range.to_open ? " to below " : " to ") +
         NumberWords(*range.to_um) + " um";
}

std::string RuleWords(const Rule& rule) {
  const std::string size = SizeWords(rule.size);
  if (!rule.allowed) return "no limit " + size;
  if (*rule.allowed == 0) return "none " + size;
  return "at most " + std::to_string(*rule.allowed) + " " + size;
}

Cut LowerCut(const SizeRange& range) {
  if (!range.from_um) return {0.0, false};
  return {*range.from_um, range.from_open};
}

Cut UpperCut(const SizeRange& range) {
  if (!range.to_um) return {kUnbounded, true};
  return {*range.to_um, !range.to_open};
}

bool Overlap(const SizeRange& a, const SizeRange& b) {
  return std::max(LowerCut(a), LowerCut(b)) < std::min(UpperCut(a), UpperCut(b));
}

bool Holds(const SizeRange& outer, const SizeRange& inner) {
  return LowerCut(outer) <= LowerCut(inner) && UpperCut(inner) <= UpperCut(outer);
}

SizeRange Between(Cut lower, Cut upper) {
  SizeRange range;
  if (lower > Cut{0.0, false}) {
    range.from_um = lower.at_um;
    range.from_open = lower.after;
  }
  if (std::isfinite(upper.at_um)) {
    range.to_um = upper.at_um;
    range.to_open = !upper.after;
  }
  return range;
}

}  // namespace endgrade

#include "lot/name_pattern.h"

#include <algorithm>
#include <cassert>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <string_view>

namespace endgrade::lot {
namespace {

constexpr std::size_t kLongestName = 500;
// Each doubles the time that a name made to annoy takes; three take a hundredth of a second.
constexpr int kMostTextFields = 3;

const std::map<std::string, std::string>& FieldExpressions() {
  static const std::string kText = "([^/]+?)";
  static const std::string kNumber = "([0-9]{1,4})";
  static const std::map<std::string, std::string> kExpressions = {{"cord", kText},
                                                                  {"face", kText},
                                                                  {"kind", kText},
                                                                  {"port", kText},
                                                                  {"rater", kText},
                                                                  {"end", "([A-Za-z]+|[0-9])"},
                                                                  {"side", "([A-Za-z]|near|far)"},
                                                                  {"fibre", kNumber},
                                                                  {"attempt", kNumber},
                                                                  {"trial", kNumber}};
  return kExpressions;
}

Error PatternError(const std::string& pattern, const std::string& what) {
  return {ErrorKind::kBadOption,
          "",
          0,
          "the name pattern \"" + pattern + "\" " + what,
          "Write it like {cord}-{end}[-{attempt}], with {cord}, {end}, {fibre}, {attempt}, {kind}, "
          "{port}, {rater}, [ ] and *"};
}

void AppendLiteral(char c, std::string* expression) {
  if (std::string_view("\\^$.|?+()[]{}*").find(c) != std::string_view::npos) *expression += '\\';
  *expression += c;
}

std::string StandsFor(const std::string& field) {
  if (field == "face") return "cord";
  if (field == "side") return "end";
  return field == "trial" ? "attempt" : field;
}

void Fill(const std::string& field, const std::string& value, store::Face* face) {
  if (field == "cord") face->cord = value;
  if (field == "kind") face->kind = value;
  if (field == "port") face->port = value;
  if (field == "rater") face->rater = value;
  if (field == "end") face->end = value;
  if (field == "fibre") face->fibre = std::atoi(value.c_str());      // digits only, at most four
  if (field == "attempt") face->attempt = std::atoi(value.c_str());  // likewise
}

std::vector<NamePattern> Parsed(std::initializer_list<const char*> texts) {
  std::vector<NamePattern> patterns;
  for (const char* text : texts) {
    auto pattern = NamePattern::Parse(text);
    assert(pattern.ok());
    patterns.push_back(std::move(*pattern));
  }
  return patterns;
}

}  // namespace

Result<NamePattern> NamePattern::Parse(const std::string& text) {
  NamePattern pattern;
  pattern.text_ = text;
  std::string expression = "(?:.*/)?";
  int depth = 0;
  int num_texts = 0;  // in this folder's or file's name
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '{') {
      const std::size_t end = text.find('}', i);
      if (end == std::string::npos) return PatternError(text, "has a { without its }");
      const std::string field = text.substr(i + 1, end - i - 1);
      const auto known = FieldExpressions().find(field);
      if (known == FieldExpressions().end()) {
        return PatternError(text, "has {" + field + "}, which is not known");
      }
      if (pattern.Has(StandsFor(field))) return PatternError(text, "has {" + field + "} twice");
      pattern.fields_.push_back(StandsFor(field));
      expression += known->second;
      if (known->second.find("[^/]") != std::string::npos) ++num_texts;
      i = end;
    } else if (c == '[') {
      ++depth;
      expression += "(?:";
    } else if (c == ']') {
      if (--depth < 0) return PatternError(text, "has a ] without its [");
      expression += ")?";
    } else if (c == '*') {
      expression += "[^/]*";
      ++num_texts;
    } else {
      AppendLiteral(c, &expression);
      if (c == '/') num_texts = 0;
    }
    if (num_texts > kMostTextFields) {
      return PatternError(text, "has more than three texts between two slashes");
    }
  }
  if (depth != 0) return PatternError(text, "has a [ without its ]");
  if (!pattern.Has("cord")) return PatternError(text, "has no {cord}");
  if (text.size() > kLongestName) return PatternError(text.substr(0, 40), "is too long");
  pattern.expression_ = std::regex(expression, std::regex::ECMAScript);
  return pattern;
}

bool NamePattern::Has(const std::string& field) const {
  return std::find(fields_.begin(), fields_.end(), field) != fields_.end();
}

std::optional<store::Face> NamePattern::Match(const std::string& path) const {
  if (path.size() > kLongestName) return std::nullopt;
  const std::string stem = std::filesystem::path(path).replace_extension().generic_string();
  std::smatch match;
  if (!std::regex_match(stem, match, expression_)) return std::nullopt;
  store::Face face;
  for (std::size_t i = 0; i < fields_.size(); ++i) {
    const auto& group = match[i + 1];
    if (group.matched) Fill(fields_[i], group.str(), &face);
  }
  if (face.cord.empty() || face.fibre < 1 || face.attempt < 1) return std::nullopt;
  return face;
}

const std::vector<NamePattern>& DefaultPatterns() {
  // A word before a number is no end: port-05 and port-06 of a rack are two faces, and a guess that
  // made the second an attempt of the first would pass both by it.
  static const auto kPatterns = Parsed({"{cord}-{side}[-f{fibre}][-{attempt}]",
                                        "{cord}_{side}[_f{fibre}][_{attempt}]",
                                        "{cord}/{side}[-f{fibre}][-{attempt}]",
                                        "{cord}/{end}"});
  return kPatterns;
}

const std::vector<NamePattern>& DefaultStudyPatterns() {
  static const auto kPatterns =
      Parsed({"{rater}/{face}-{trial}", "{face}-{rater}-{trial}", "{rater}/{face}_{trial}"});
  return kPatterns;
}

std::optional<store::Face> MatchAny(const std::vector<NamePattern>& patterns,
                                    const std::string& path) {
  for (const NamePattern& pattern : patterns) {
    if (auto face = pattern.Match(path)) return face;
  }
  return std::nullopt;
}

}  // namespace endgrade::lot

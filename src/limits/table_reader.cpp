#include "limits/table_reader.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

bool IsControl(char c) {
  const auto byte = static_cast<unsigned char>(c);
  return byte < 0x20 || byte == 0x7F;
}

// C1 controls (U+0080 to U+009F) are C2 80 to C2 9F in UTF-8; terminals act on them too.
bool HasControl(const std::string& text) {
  if (std::any_of(text.begin(), text.end(), IsControl)) return true;
  for (size_t i = 0; i + 1 < text.size(); ++i) {
    const auto next = static_cast<unsigned char>(text[i + 1]);
    if (text[i] == '\xC2' && next >= 0x80 && next <= 0x9F) return true;
  }
  return false;
}

bool IsIdLetter(char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-'; }

constexpr size_t kLongestId = 64;
// A title, a source or an edition fits on a few lines of a terminal.
constexpr size_t kLongestText = 400;

std::string Printable(std::string_view text) {
  std::string safe(text.substr(0, kLongestId));
  if (HasControl(safe)) return "?";
  return safe;
}

}  // namespace

void Mistakes::Add(int line, std::string what, std::string remedy) {
  errors_.push_back({ErrorKind::kBadLimits, file_, line, std::move(what), std::move(remedy)});
}

int LineOf(const toml::node& node) { return static_cast<int>(node.source().begin.line); }

TableReader::TableReader(const toml::table& table,
                         std::string name,
                         Mistakes& mistakes,
                         std::initializer_list<std::string_view> known)
    : table_(table), name_(std::move(name)), mistakes_(mistakes) {
  std::string expected;
  for (const auto word : known) expected += (expected.empty() ? "" : ", ") + std::string(word);
  for (const auto& [key, value] : table_) {
    if (std::find(known.begin(), known.end(), key.str()) != known.end()) continue;
    const int line = static_cast<int>(key.source().begin.line);
    mistakes_.Add(line > 0 ? line : LineOf(value),
                  "unknown key " + Named(Printable(key.str())),
                  "Expected one of: " + expected);
  }
}

std::string TableReader::Named(std::string_view key) const {
  return "\"" + std::string(key) + "\"" + (name_.empty() ? "" : " in " + name_);
}

int TableReader::Line(std::string_view key) const {
  const toml::node* node = table_.get(key);
  return node ? LineOf(*node) : Line();
}

void TableReader::Wrong(std::string_view key, const std::string& expected) {
  mistakes_.Add(Line(key), Named(key) + ": expected " + expected);
}

const toml::node* TableReader::Find(std::string_view key, Need need, const char* expected) {
  const toml::node* node = table_.get(key);
  if (!node && need == Need::kMust) {
    mistakes_.Add(Line(), Named(key) + " is missing: expected " + expected);
  }
  return node;
}

std::optional<std::string> TableReader::Text(std::string_view key, Need need) {
  constexpr const char* kExpected = "text in quotes, on one line, not empty";
  const toml::node* node = Find(key, need, kExpected);
  if (!node) return std::nullopt;
  const auto text = node->value_exact<std::string>();
  if (text && !text->empty() && text->size() <= kLongestText && !HasControl(*text)) return text;
  Wrong(key,
        text && text->size() > kLongestText ? "at most " + std::to_string(kLongestText) + " letters"
                                            : kExpected);
  return std::nullopt;
}

std::optional<std::string> TableReader::Id(std::string_view key, Need need) {
  const auto text = Text(key, need);
  if (!text) return std::nullopt;
  if (text->size() <= kLongestId && text->front() != '-' &&
      std::all_of(text->begin(), text->end(), IsIdLetter)) {
    return text;
  }
  Wrong(key, "lower-case letters, digits and hyphens, as in \"sm-upc\"");
  return std::nullopt;
}

std::optional<double> TableReader::Number(std::string_view key, Need need) {
  constexpr const char* kExpected = "a number";
  const toml::node* node = Find(key, need, kExpected);
  if (!node) return std::nullopt;
  const auto number = node->is_number() ? node->value<double>() : std::nullopt;
  if (number && std::isfinite(*number)) return number;
  Wrong(key, kExpected);
  return std::nullopt;
}

std::optional<int> TableReader::Whole(std::string_view key, int least, int most, Need need) {
  const std::string expected =
      "a whole number from " + std::to_string(least) + " to " + std::to_string(most);
  const toml::node* node = Find(key, need, expected.c_str());
  if (!node) return std::nullopt;
  const auto number = node->value_exact<std::int64_t>();
  if (number && *number >= least && *number <= most) return static_cast<int>(*number);
  Wrong(key, expected);
  return std::nullopt;
}

std::optional<std::vector<double>> TableReader::Numbers(std::string_view key, Need need) {
  constexpr const char* kExpected = "numbers in brackets, as in [50, 62.5]";
  const toml::node* node = Find(key, need, kExpected);
  if (!node) return std::nullopt;
  const toml::array* array = node->as_array();
  std::vector<double> numbers;
  for (size_t i = 0; array && i < array->size(); ++i) {
    const toml::node& entry = *array->get(i);
    const auto number = entry.is_number() ? entry.value<double>() : std::nullopt;
    if (number && std::isfinite(*number)) numbers.push_back(*number);
  }
  if (array && numbers.size() == array->size()) return numbers;
  Wrong(key, kExpected);
  return std::nullopt;
}

std::vector<std::pair<std::string, int>> TableReader::Texts(std::string_view key) {
  std::vector<std::pair<std::string, int>> texts;
  const toml::node* node = table_.get(key);
  if (!node) return texts;
  const toml::array* array = node->as_array();
  for (size_t i = 0; array && i < array->size(); ++i) {
    const auto text = array->get(i)->value_exact<std::string>();
    if (text && !HasControl(*text)) texts.emplace_back(*text, LineOf(*array->get(i)));
  }
  if (!array || texts.size() != array->size()) {
    Wrong(key, "texts in brackets, as in [\"b-defects-2-to-5\"]");
    texts.clear();
  }
  return texts;
}

std::vector<const toml::table*> TableReader::Tables(std::string_view key) {
  std::vector<const toml::table*> tables;
  const toml::node* node = table_.get(key);
  if (!node) return tables;
  const toml::array* array = node->as_array();
  for (size_t i = 0; array && i < array->size(); ++i) {
    if (const toml::table* table = array->get(i)->as_table()) tables.push_back(table);
  }
  if (!array || tables.size() != array->size()) {
    Wrong(key, "tables, each headed [[" + std::string(key) + "]] in two pairs of brackets");
    tables.clear();
  }
  return tables;
}

const toml::table* TableReader::Table(std::string_view key) {
  const toml::node* node = table_.get(key);
  if (node && !node->is_table()) {
    Wrong(key, "a table headed [" + std::string(key) + "] in one pair of brackets");
  }
  return node ? node->as_table() : nullptr;
}

}  // namespace endgrade

// Reads typed values out of one TOML table and notes every mistake with its line.
#pragma once

#include "endgrade/result.h"
#include "limits/toml.h"

#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace endgrade {

// The mistakes of one file, in the order in which they were found.
class Mistakes {
 public:
  Mistakes(std::vector<Error>& errors, std::string file)
      : errors_(errors), file_(std::move(file)) {}

  void Add(int line, std::string what, std::string remedy = "");
  [[nodiscard]] const std::string& file() const { return file_; }

 private:
  std::vector<Error>& errors_;
  std::string file_;
};

[[nodiscard]] int LineOf(const toml::node& node);

enum class Need { kMust, kMay };

class TableReader {
 public:
  // `name` as a person would look for it: "[fibre]", "[[rule]]"; empty for the top of the file.
  // Every key that is not in `known` is a mistake.
  TableReader(const toml::table& table,
              std::string name,
              Mistakes& mistakes,
              std::initializer_list<std::string_view> known);

  // Each gives nothing, and notes a mistake, when the value is of the wrong type or outside its
  // bounds, or when it must be there and is not.

  // Text on one line, without control characters: it ends up on terminals and in records.
  std::optional<std::string> Text(std::string_view key, Need need);
  // Lower-case letters, digits and hyphens, at most 64: "sm-upc".
  std::optional<std::string> Id(std::string_view key, Need need);
  std::optional<double> Number(std::string_view key, Need need);
  std::optional<int> Whole(std::string_view key, int least, int most, Need need);
  std::optional<std::vector<double>> Numbers(std::string_view key, Need need);
  std::vector<std::pair<std::string, int>> Texts(std::string_view key);  // with lines; optional

  // One of some words, each with what it stands for.
  template <typename T>
  std::optional<T> Choice(std::string_view key,
                          Need need,
                          std::initializer_list<std::pair<std::string_view, T>> choices) {
    const auto text = Text(key, need);
    if (!text) return std::nullopt;
    std::string expected;
    for (const auto& [word, value] : choices) {
      if (*text == word) return value;
      expected += (expected.empty() ? "\"" : ", \"") + std::string(word) + "\"";
    }
    Wrong(key, "one of " + expected);
    return std::nullopt;
  }

  // The tables of [[key]], or nothing if there are none.
  std::vector<const toml::table*> Tables(std::string_view key);
  // The table [key], if it is there.
  const toml::table* Table(std::string_view key);

  [[nodiscard]] bool Has(std::string_view key) const { return table_.contains(key); }
  [[nodiscard]] const toml::node* Node(std::string_view key) const { return table_.get(key); }
  [[nodiscard]] int Line(std::string_view key) const;  // of the value, else of the table
  [[nodiscard]] int Line() const { return LineOf(table_); }
  void Wrong(std::string_view key, const std::string& expected);

 private:
  const toml::node* Find(std::string_view key, Need need, const char* expected);
  [[nodiscard]] std::string Named(std::string_view key) const;

  const toml::table& table_;
  std::string name_;
  Mistakes& mistakes_;
};

}  // namespace endgrade

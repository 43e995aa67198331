// What a photograph is of, by its name.
#pragma once

#include "endgrade/result.h"
#include "store/row.h"

#include <optional>
#include <regex>
#include <string>
#include <vector>

namespace endgrade::lot {

// A pattern as a lot file has it: "{cord}-{end}[-{attempt}]".
//
//   {cord} {kind} {port} {rater}   any text without a slash, as short as possible
//   {face} {trial}                 other words for {cord} and {attempt}, for studies
//   {end}                          letters, or one digit
//   {side}                         an end that is one letter, near or far
//   {fibre} {attempt}              a number from 1 to 9999
//   [ ]                            may be left out
//   *                              any text without a slash
//   /                              a folder; folders before the pattern are not looked at
//
// The ending (.jpg) is not part of the pattern. Between two slashes there are at most three of
// {cord}, {kind}, {port}, {rater} and *.
class NamePattern {
 public:
  // Errors: kBadOption with what was expected.
  [[nodiscard]] static Result<NamePattern> Parse(const std::string& text);

  // Nothing when the name does not match. Paths of over 500 bytes never do.
  [[nodiscard]] std::optional<store::Face> Match(const std::string& path) const;

  [[nodiscard]] const std::string& text() const { return text_; }
  [[nodiscard]] bool Has(const std::string& field) const;

 private:
  std::string text_;
  std::vector<std::string> fields_;  // in the order of the expression's groups
  std::regex expression_;
};

// What is tried in turn where a lot says nothing.
[[nodiscard]] const std::vector<NamePattern>& DefaultPatterns();
[[nodiscard]] const std::vector<NamePattern>& DefaultStudyPatterns();

// The first pattern that matches decides.
[[nodiscard]] std::optional<store::Face> MatchAny(const std::vector<NamePattern>& patterns,
                                                  const std::string& path);

}  // namespace endgrade::lot

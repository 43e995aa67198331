#include "statistics/sampling_plan.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string_view>

namespace endgrade::statistics {
namespace {

constexpr std::string_view kLetters = "ABCDEFGHJKLMNPQR";
constexpr std::array kSampleSizes = {
    2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000};

// ISO 2859-1, table 1: largest lot of each row, and the letters of S-1, S-2, S-3, S-4, I, II, III.
// Column II is checked against two public tables; the others are from memory.
struct LetterRow {
  int largest_lot;
  std::string_view letters;
};
constexpr std::array kLetterRows = {LetterRow{8, "AAAAAAB"},
                                    LetterRow{15, "AAAAABC"},
                                    LetterRow{25, "AABBBCD"},
                                    LetterRow{50, "ABBCCDE"},
                                    LetterRow{90, "BBCCCEF"},
                                    LetterRow{150, "BBCDDFG"},
                                    LetterRow{280, "BCDEEGH"},
                                    LetterRow{500, "BCDEFHJ"},
                                    LetterRow{1200, "CCEFGJK"},
                                    LetterRow{3200, "CDEGHKL"},
                                    LetterRow{10000, "CDFGJLM"},
                                    LetterRow{35000, "CDFHKMN"},
                                    LetterRow{150000, "DEGJLNP"},
                                    LetterRow{500000, "DEGJMPQ"},
                                    LetterRow{2147483647, "DEHKNQR"}};
constexpr std::array<std::string_view, 7> kLevels = {"S-1", "S-2", "S-3", "S-4", "I", "II", "III"};

// Down a diagonal of the tables the plan is the same but for the sample's size: letter and AQL both
// go up by a factor of 1.6 or so. `first` is letter index + AQL index of the diagonal with Ac = 0,
// the next two hold arrows, then come these acceptance numbers; beyond them, arrows up.
struct Diagonals {
  int first;
  bool first_arrow_up;  // of the two arrows: the first points to Ac = 0, or both to Ac = 1
  std::vector<int> accept;
};

Diagonals DiagonalsOf(Severity severity) {
  if (severity == Severity::kNormal) return {14, true, {1, 2, 3, 5, 7, 10, 14, 21}};
  return {15, false, {1, 2, 3, 5, 8, 12, 18}};
}

struct Cell {
  int letter;  // index of the row whose plan is used
  int accept;
};

// Follows the arrows from a row to the plan that they lead to; nothing where they leave the table.
std::optional<Cell> Follow(int letter, int aql, const Diagonals& table) {
  const int place = letter + aql - table.first;
  const int last = 2 + static_cast<int>(table.accept.size());
  int to = place;
  if (place < 0) to = 0;
  if (place == 1) to = table.first_arrow_up ? 0 : 3;
  if (place == 2) to = 3;
  if (place > last) to = last;
  const int row = letter + (to - place);
  if (row < 0 || row >= static_cast<int>(kSampleSizes.size())) return std::nullopt;
  return Cell{row, to == 0 ? 0 : table.accept[static_cast<std::size_t>(to - 3)]};
}

Error PlanError(std::string what, std::string remedy) {
  return {ErrorKind::kBadOption, "", 0, std::move(what), std::move(remedy)};
}

std::string Decimal(double value) {
  std::string text = std::to_string(value);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text;
}

std::optional<int> AqlIndex(double aql_percent) {
  const auto& aqls = PreferredAqls();
  for (std::size_t i = 0; i < aqls.size(); ++i) {
    if (std::abs(aqls[i] - aql_percent) < 1e-9) return static_cast<int>(i);
  }
  return std::nullopt;
}

}  // namespace

const std::vector<double>& PreferredAqls() {
  static const std::vector<double> kAqls = {0.010,
                                            0.015,
                                            0.025,
                                            0.040,
                                            0.065,
                                            0.10,
                                            0.15,
                                            0.25,
                                            0.40,
                                            0.65,
                                            1.0,
                                            1.5,
                                            2.5,
                                            4.0,
                                            6.5,
                                            10.0};
  return kAqls;
}

Result<std::string> CodeLetter(int lot_size, const std::string& level) {
  const auto* column = std::find(kLevels.begin(), kLevels.end(), level);
  if (column == kLevels.end()) {
    return PlanError("there is no inspection level \"" + level + "\"",
                     "Write S-1, S-2, S-3, S-4, I, II or III");
  }
  if (lot_size < 2) {
    return PlanError("a lot of " + std::to_string(lot_size) + " has no sampling plan",
                     "Give the number of cords in the lot, two or more");
  }
  const auto* row = std::find_if(kLetterRows.begin(), kLetterRows.end(), [&](const LetterRow& r) {
    return lot_size <= r.largest_lot;
  });
  return std::string(1, row->letters[static_cast<std::size_t>(column - kLevels.begin())]);
}

Result<SamplingPlan> SinglePlan(int lot_size,
                                const std::string& level,
                                double aql_percent,
                                Severity severity) {
  const auto letter = CodeLetter(lot_size, level);
  if (!letter.ok()) return letter.error();
  const auto aql = AqlIndex(aql_percent);
  if (!aql) {
    std::string list;
    for (const double known : PreferredAqls()) list += (list.empty() ? "" : ", ") + Decimal(known);
    return PlanError(
        "there is no plan for an acceptance quality limit of " + Decimal(aql_percent) + " %",
        "Use one of " + list);
  }
  const auto cell =
      Follow(static_cast<int>(kLetters.find(letter->front())), *aql, DiagonalsOf(severity));
  if (!cell) {
    return PlanError("the arrows of the table lead out of it for letter " + *letter + " at " +
                         Decimal(aql_percent) + " %",
                     "Take the plan from the standard itself, or another level");
  }
  SamplingPlan plan;
  plan.level = level;
  plan.aql_percent = aql_percent;
  plan.severity = severity;
  plan.lot_size = lot_size;
  plan.code_letter = *letter;
  plan.plan_letter = std::string(1, kLetters[static_cast<std::size_t>(cell->letter)]);
  plan.sample_size = kSampleSizes[static_cast<std::size_t>(cell->letter)];
  plan.accept_up_to = cell->accept;
  plan.reject_from = cell->accept + 1;
  plan.whole_lot = plan.sample_size >= lot_size;
  if (plan.whole_lot) plan.sample_size = lot_size;
  return plan;
}

}  // namespace endgrade::statistics

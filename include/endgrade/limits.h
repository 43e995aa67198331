// Limits: zones and rules as data, read from zones/**/*.toml.
#pragma once

#include "endgrade/result.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade {

// What a feature is. Written to records; do not rename.
enum class FeatureKind { kScratch, kDefect };

// What a rule looks at: either kind, or both together.
enum class RuleKind { kScratch, kDefect, kAny };

// How sure we are of a published value; zones/README.md has the legend. Written in limits files.
enum class Certainty {
  kTwoSources,      // "2": two independent public places quote the same figure
  kOneSource,       // "1": one does
  kFromMemory,      // "m": from memory of the trade
  kCommonPractice,  // "c": common practice, no source
  kHouse,           // "house": a lab's own choice
};

// A ring of the end face, [inner, outer) in diameters about the cladding's centre.
struct Zone {
  std::string name;   // "A" to "D"
  std::string title;  // "core", "cladding", ...
  double inner_diameter_um = 0;
  double outer_diameter_um = 0;
  Certainty certainty = Certainty::kOneSource;
  std::string source;  // where the borders come from

  // The smallest feature that a picture must be able to show here before it may pass, by kind.
  // From the file, else the smallest size at which a rule can be broken, but no less than
  // kLeastMustSee_um. Empty where no rule can be broken in this zone by that kind.
  std::optional<double> must_see_defect_um;
  std::optional<double> must_see_scratch_um;
};

// Where a rule says "none" of any size, the least that a picture must show; a file may ask for
// less. The low-resolution method of edition 2 (from memory).
inline constexpr double kLeastMustSee_um = 2.0;

// A range of sizes with open or closed ends; empty ends are unbounded.
struct SizeRange {
  std::optional<double> from_um;
  bool from_open = false;  // true: size > from_um; false: size >= from_um
  std::optional<double> to_um;
  bool to_open = false;  // true: size < to_um; false: size <= to_um

  [[nodiscard]] bool Contains(double size_um) const;
};

struct Rule {
  std::string id;    // unique in the file: "b-defects-2-to-5"
  std::string zone;  // a zone's name
  RuleKind kind = RuleKind::kDefect;
  SizeRange size;
  std::optional<int> allowed;  // most features in range; 0: none; empty: no limit
  std::string text;            // in words: "at most 5 from 2 to 5 um"
  std::string source;          // where the figure comes from
  Certainty certainty = Certainty::kOneSource;

  [[nodiscard]] bool LooksAt(FeatureKind feature) const;
  // False for "no limit", which nothing can break.
  [[nodiscard]] bool CanBreak() const { return allowed.has_value(); }
};

// The fibre that a limits file is about.
struct FibreType {
  double cladding_diameter_um = 125.0;
  double cladding_tolerance_um = 1.0;     // +/-
  std::vector<double> core_diameters_um;  // expected: {9} or {50, 62.5}; empty: any will do
  bool single_mode = true;
  double polish_angle_deg = 0.0;  // 8 for APC, else 0
  Certainty certainty = Certainty::kOneSource;
  std::string source;
};

struct Limits {
  std::string id;       // "sm-upc"
  std::string title;    // "Single-mode, UPC polish (return loss >= 45 dB)"
  std::string edition;  // "IEC 61300-3-35, edition 2 (2015)", or the house's own words
  std::string extends;  // id of the limits it builds on; empty if none
  std::string sha256;   // of the file's bytes, followed by its parent's sha256 if it has one
  std::filesystem::path path;
  FibreType fibre;
  std::vector<Zone> zones;  // inside out, touching
  std::vector<Rule> rules;  // in the order of the file, those of a parent first
  int max_cleanings = 5;    // attempts after which a face that still fails is rejected
  Certainty max_cleanings_certainty = Certainty::kFromMemory;
  std::string max_cleanings_source;

  // Outer diameter of the outermost zone with a rule that can be broken, um.
  [[nodiscard]] double RuledDiameter() const;
  [[nodiscard]] const Zone* FindZone(const std::string& name) const;

  // What the picture must show in a zone (index) for a pass: the zone's own must_see, else derived
  // from the rules as above. Empty where nothing of that kind can break a rule.
  [[nodiscard]] std::optional<double> MustSee(size_t zone, FeatureKind kind) const;

  // The first thing that makes these limits unfit to grade by (a gap that no rule covers, zones
  // that do not touch, ...), or nothing. Limits that were read from a file never have one.
  [[nodiscard]] std::optional<std::string> Problem() const;
};

// Everything that is wrong, or only odd, about a limits file.
struct LimitsCheck {
  std::vector<Error> errors;     // each with file, line and what was expected; empty: fit to use
  std::vector<Error> warnings;   // allowed, but perhaps not meant
  std::optional<Limits> limits;  // set exactly when there are no errors
};

// Reads a limits file and reports all of its mistakes, not only the first.
[[nodiscard]] LimitsCheck CheckLimits(const std::filesystem::path& path);

// Reads a limits file. Errors: kNotFound, kBadLimits with file, line and what was expected.
[[nodiscard]] Result<Limits> ReadLimits(const std::filesystem::path& path);

// `id_or_file`: an ID of the shipped limits ("sm-upc") or the path of a file.
// Errors: kNotFound (lists the IDs there are), kBadLimits.
[[nodiscard]] Result<Limits> FindLimits(const std::string& id_or_file);

// Every limits file found under the limits folder, by ID. A broken file is an entry with an error.
[[nodiscard]] std::vector<Result<Limits>> ListLimits();

// The folder that holds the shipped limits: $ENDGRADE_ZONES; else share/endgrade/zones of the
// folder that the program was installed to, wherever that was moved; else `zones/` of the source
// tree that this was built from; else <prefix>/share/endgrade/zones.
[[nodiscard]] std::filesystem::path LimitsFolder();

}  // namespace endgrade

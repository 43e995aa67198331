// From the store's rows to faces and cords.
#pragma once

#include "lot/settings.h"
#include "store/store.h"

#include <cstdint>
#include <string>
#include <vector>

namespace endgrade::summary {

// Of one feature, what charts and overlays need.
struct Mark {
  int id = 0;
  bool scratch = false;
  bool breaks = false;  // a broken rule counts it
  std::string zone;
  double x_um = 0;  // from the cladding's centre, right and down
  double y_um = 0;
  double size_um = 0;
  double diameter_um = 0;  // of the enclosing circle
  std::vector<std::pair<double, double>> outline_um;
};

struct BrokenRule {
  std::string zone;
  std::string text;  // "defects: at most 5 from 2 to 5 um"
  int found = 0;
};

// One photograph of a face.
struct Attempt {
  std::int64_t seq = 0;
  std::string path;
  std::string sha256;
  std::string limits_id;
  std::string taken_at;
  int number = 1;
  std::string verdict;  // as in the store
  bool marginal = false;
  bool contested = false;  // another photograph claims to be the same attempt
  std::vector<std::string> reasons;
  std::vector<BrokenRule> broken;
  std::vector<Mark> marks;
};

enum class State { kPass, kFail, kOpen };     // kOpen: not known; never counts as a pass
[[nodiscard]] const char* Word(State state);  // "pass", "fail", "open"

struct Face {
  store::Face face;               // attempt and rater: of the last photograph
  std::vector<Attempt> attempts;  // by number
  State first = State::kOpen;     // after the first photograph
  State last = State::kOpen;      // after the last
  std::string note;               // why it is open though it has photographs, or rejected for good
};

struct Cord {
  std::string name;
  std::vector<Face> faces;  // by end and fibre
  State first = State::kOpen;
  State last = State::kOpen;
  std::vector<std::string> missing;  // "B", "A fibre 2": faces without any photograph
};

struct Cords {
  std::vector<Cord> cords;         // by name
  std::vector<std::string> notes;  // rows that were left out, and why
};

// Of each path the newest row counts. An attempt with two photographs is contested, and a face
// whose last attempt is contested, unreadable or ungradable is open. A picture (by SHA-256) that
// stands for two faces leaves both open. A cord passes when all its faces do, fails when one does.
//
//   settings   which ends and fibres a cord has; rows of a face graded by limits or a build that
//              are not today's count only with a note
[[nodiscard]] Result<Cords> GatherCords(const store::Store& store, const lot::Settings& settings);

// One record's content, for whoever has a row; an unreadable record gives an empty attempt.
[[nodiscard]] Attempt AttemptOf(const store::Row& row);

}  // namespace endgrade::summary

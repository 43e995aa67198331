#include "summary/faces.h"

#include <algorithm>
#include <map>
#include <set>
#include <tuple>

namespace endgrade::summary {
namespace {

using FaceKey = std::tuple<std::string, std::string, int>;  // cord, end, fibre

struct Gathered {
  std::map<FaceKey, Face> faces;
  std::vector<std::string> notes;
};

// The newest row of each path.
Result<std::map<std::string, std::int64_t>> NewestRows(const store::Store& store) {
  std::map<std::string, std::int64_t> newest;
  const auto error = store.ForEach({}, store::RowParts::kNoRecord, [&](const store::Row& row) {
    newest[row.path] = row.seq;
    return true;
  });
  if (error) return *error;
  return newest;
}

std::set<std::string> KeysOfToday(const lot::Settings& settings) {
  std::set<std::string> keys;
  for (const auto& [kind, limits] : settings.limits) keys.insert(settings.GradeKey(limits));
  return keys;
}

Result<Gathered> GatherFaces(const store::Store& store, const lot::Settings& settings) {
  const auto newest = NewestRows(store);
  if (!newest.ok()) return newest.error();
  const auto keys = KeysOfToday(settings);
  Gathered gathered;
  const auto error = store.ForEach({}, store::RowParts::kNoThumbnail, [&](const store::Row& row) {
    if (newest->at(row.path) != row.seq) return true;
    if (!keys.empty() && !keys.contains(row.grade_key)) {
      gathered.notes.push_back(row.path +
                               ": graded by other limits, options or another build, and "
                               "not again since; its old verdict is not counted");
      return true;
    }
    Face& face = gathered.faces[{row.face.cord, row.face.end, row.face.fibre}];
    face.face = row.face;
    face.attempts.push_back(AttemptOf(row));
    return true;
  });
  if (error) return *error;
  return gathered;
}

void SortAttempts(Face* face) {
  auto& attempts = face->attempts;
  std::sort(attempts.begin(), attempts.end(), [](const Attempt& a, const Attempt& b) {
    return std::tie(a.number, a.path) < std::tie(b.number, b.path);
  });
  for (std::size_t i = 1; i < attempts.size(); ++i) {
    if (attempts[i].number != attempts[i - 1].number) continue;
    attempts[i].contested = attempts[i - 1].contested = true;
  }
}

State StateOf(const Attempt& attempt) {
  if (attempt.contested) return State::kOpen;
  if (attempt.verdict == "pass") return State::kPass;
  return attempt.verdict == "fail" ? State::kFail : State::kOpen;
}

std::string NoteOf(const Face& face, const lot::Settings& settings) {
  const Attempt& last = face.attempts.back();
  if (last.contested) {
    return "Two photographs claim to be attempt " + std::to_string(last.number) +
           ": neither counts.";
  }
  if (last.verdict == "unreadable") return "The photograph could not be read.";
  const Limits* limits = settings.LimitsOf(face.face.kind);
  if (!limits || face.last != State::kFail || last.number <= limits->max_cleanings) return "";
  return "Still fails after " + std::to_string(last.number - 1) +
         " cleanings: the connector is rejected.";
}

// One picture cannot show two faces: somebody copied it, or named it wrongly.
void OpenSharedPictures(std::map<FaceKey, Face>* faces) {
  std::map<std::string, std::set<FaceKey>> by_picture;
  for (const auto& [key, face] : *faces) {
    for (const Attempt& attempt : face.attempts) {
      if (!attempt.sha256.empty()) by_picture[attempt.sha256].insert(key);
    }
  }
  for (const auto& [sha256, keys] : by_picture) {
    if (keys.size() < 2) continue;
    for (const FaceKey& key : keys) {
      const FaceKey& other = key == *keys.begin() ? *std::next(keys.begin()) : *keys.begin();
      Face& face = faces->at(key);
      face.first = face.last = State::kOpen;
      face.note = "The very same picture also stands for " + std::get<0>(other) + " " +
                  std::get<1>(other) + ": it can show only one of them.";
    }
  }
}

std::string FaceName(const std::string& end, int fibre, bool many_fibres) {
  std::string name = end.empty() ? "its end" : end;
  if (many_fibres) name += " fibre " + std::to_string(fibre);
  return name;
}

struct Expected {
  std::set<std::string> ends;
  std::set<int> fibres;
};

Expected ExpectedOf(const std::map<FaceKey, Face>& faces, const lot::Settings& settings) {
  Expected expected;
  expected.ends.insert(settings.ends.begin(), settings.ends.end());
  for (int fibre = 1; fibre <= settings.fibres; ++fibre) expected.fibres.insert(fibre);
  for (const auto& [key, face] : faces) {
    if (settings.ends.empty()) expected.ends.insert(std::get<1>(key));
    if (settings.fibres == 0) expected.fibres.insert(std::get<2>(key));
  }
  return expected;
}

State Together(const Cord& cord, State Face::*which) {
  State together = cord.missing.empty() ? State::kPass : State::kOpen;
  for (const Face& face : cord.faces) {
    if (face.*which == State::kFail) return State::kFail;
    if (face.*which == State::kOpen) together = State::kOpen;
  }
  return together;
}

void FinishCord(const Expected& expected, Cord* cord) {
  for (const std::string& end : expected.ends) {
    for (const int fibre : expected.fibres) {
      const bool is_there = std::any_of(cord->faces.begin(), cord->faces.end(), [&](const Face& f) {
        return f.face.end == end && f.face.fibre == fibre;
      });
      if (!is_there) cord->missing.push_back(FaceName(end, fibre, expected.fibres.size() > 1));
    }
  }
  cord->first = Together(*cord, &Face::first);
  cord->last = Together(*cord, &Face::last);
}

}  // namespace

const char* Word(State state) {
  switch (state) {
    case State::kPass:
      return "pass";
    case State::kFail:
      return "fail";
    case State::kOpen:
      break;
  }
  return "open";
}

Result<Cords> GatherCords(const store::Store& store, const lot::Settings& settings) {
  auto gathered = GatherFaces(store, settings);
  if (!gathered.ok()) return gathered.error();
  for (auto& [key, face] : gathered->faces) {
    SortAttempts(&face);
    face.first = StateOf(face.attempts.front());
    face.last = StateOf(face.attempts.back());
    face.note = NoteOf(face, settings);
  }
  OpenSharedPictures(&gathered->faces);
  const Expected expected = ExpectedOf(gathered->faces, settings);
  Cords cords;
  cords.notes = std::move(gathered->notes);
  for (auto& [key, face] : gathered->faces) {
    const std::string& name = std::get<0>(key);
    if (cords.cords.empty() || cords.cords.back().name != name) {
      cords.cords.emplace_back().name = name;
    }
    cords.cords.back().faces.push_back(std::move(face));
  }
  for (Cord& cord : cords.cords) FinishCord(expected, &cord);
  return cords;
}

}  // namespace endgrade::summary

#include "report/cord_cards.h"

#include "lot/thumbnail.h"
#include "page_parts.h"
#include "present/escape.h"
#include "present/words.h"
#include "report/html.h"

#include <algorithm>
#include <cmath>
#include <kainjow/mustache.hpp>
#include <set>

namespace endgrade::report {
namespace {

using kainjow::mustache::data;
using summary::Face;
using summary::State;

constexpr std::size_t kMostOutlinePoints = 32;
constexpr std::size_t kMostMarks = 60;
constexpr int kLeastSide_px = 64;

// How pictures are made to fit into the report.
struct Pictures {
  int side_px = lot::kThumbnailSide_px;
  bool of_passing = true;
};

std::size_t Encoded(std::size_t bytes) { return (bytes + 2) / 3 * 4; }

Result<Pictures> Fit(const store::Store& store,
                     const summary::Cords& cords,
                     const ReportOptions& options) {
  std::size_t all = 0;
  for (const auto& cord : cords.cords) {
    for (const Face& face : cord.faces) {
      const auto row = store.At(face.attempts.back().seq);
      if (!row.ok()) return row.error();
      all += Encoded(row->thumbnail.size());
    }
  }
  Pictures pictures;
  if (all <= options.max_picture_bytes) return pictures;
  // Bytes go about with the area, and a little slower.
  const double share = static_cast<double>(options.max_picture_bytes) / static_cast<double>(all);
  pictures.side_px = static_cast<int>(lot::kThumbnailSide_px * std::sqrt(share) * 0.9);
  pictures.of_passing = pictures.side_px >= kLeastSide_px;
  pictures.side_px = std::max(pictures.side_px, kLeastSide_px);
  return pictures;
}

std::string Short(double value) { return FixedWords(value, 1); }

// [[id, breaks, x, y, diameter, [x, y, ...]], ...], in micrometres; outlines of what breaks a rule.
std::string MarksJson(const summary::Attempt& attempt) {
  std::vector<const summary::Mark*> marks;
  for (const auto& mark : attempt.marks) marks.push_back(&mark);
  std::stable_sort(marks.begin(), marks.end(), [](const auto* a, const auto* b) {
    return a->breaks != b->breaks ? a->breaks : a->diameter_um > b->diameter_um;
  });
  if (marks.size() > kMostMarks) marks.resize(kMostMarks);
  std::string json = "[";
  for (const auto* mark : marks) {
    if (json.size() > 1) json += ',';
    json += '[' + std::to_string(mark->id) + (mark->breaks ? ",1," : ",0,") + Short(mark->x_um) +
            ',' + Short(mark->y_um) + ',' + Short(mark->diameter_um) + ",[";
    const std::size_t count = mark->breaks ? mark->outline_um.size() : 0;
    const std::size_t step =
        std::max<std::size_t>(1, (count + kMostOutlinePoints - 1) / kMostOutlinePoints);
    for (std::size_t i = 0; i < count; i += step) {
      json += (i > 0 ? "," : "") + Short(mark->outline_um[i].first) + ',' +
              Short(mark->outline_um[i].second);
    }
    json += "]]";
  }
  return json + "]";
}

std::string Title(const Face& face) {
  std::string title = face.face.end.empty() ? "Face" : "End " + face.face.end;
  if (face.face.fibre != 1) title += ", fibre " + std::to_string(face.face.fibre);
  return title;
}

std::string Earlier(const Face& face) {
  std::string text;
  for (std::size_t i = 0; i + 1 < face.attempts.size(); ++i) {
    const auto& attempt = face.attempts[i];
    text += (text.empty() ? "attempt " : "; attempt ") + std::to_string(attempt.number) + " " +
            attempt.verdict;
    if (!attempt.reasons.empty()) text += " (" + attempt.reasons.front() + ")";
  }
  return text;
}

data Reasons(const summary::Attempt& attempt) {
  data list{data::type::list};
  for (const std::string& reason : attempt.reasons) list.push_back({"text", PrintableText(reason)});
  return list;
}

void AddPicture(const store::Row& row, const Pictures& pictures, const Face& face, data* card) {
  if (row.thumbnail.empty() || (!pictures.of_passing && face.last == State::kPass)) return;
  const bool as_is = pictures.side_px >= lot::kThumbnailSide_px;
  const std::string jpeg = as_is ? row.thumbnail : lot::Shrink(row.thumbnail, pictures.side_px);
  if (jpeg.empty()) return;
  card->set("thumb", Base64(jpeg));
  card->set("side", std::to_string(std::min(pictures.side_px, lot::kThumbnailSide_px)));
  card->set("um", FixedWords(row.thumbnail_um, 0));
  card->set("marks", MarksJson(face.attempts.back()));
}

Result<data> FaceCard(const store::Store& store, const Face& face, const Pictures& pictures) {
  const auto& last = face.attempts.back();
  const auto row = store.At(last.seq);
  if (!row.ok()) return row.error();
  data card;
  card.set("state", summary::Word(face.last));
  card.set("word", last.contested ? "open" : PrintableText(last.verdict));
  card.set("title", PrintableText(Title(face)));
  card.set("path", PrintableText(last.path));
  card.set("when", PrintableText(last.taken_at));
  card.set("limits", PrintableText(last.limits_id));
  if (!face.face.port.empty()) card.set("port", PrintableText(face.face.port));
  if (last.marginal) card.set("marginal", data::type::bool_true);
  if (!face.note.empty()) card.set("note", PrintableText(face.note));
  if (!last.reasons.empty()) {
    card.set("has_reasons", data::type::bool_true);
    card.set("reasons", Reasons(last));
  }
  if (face.attempts.size() > 1) {
    card.set("has_earlier", data::type::bool_true);
    card.set("earlier", PrintableText(Earlier(face)));
  }
  AddPicture(*row, pictures, face, &card);
  return card;
}

Result<data> CordCard(const store::Store& store, const summary::Cord& cord, const Pictures& fit) {
  data card;
  card.set("name", PrintableText(cord.name));
  card.set("state", summary::Word(cord.last));
  card.set("word", summary::Word(cord.last));
  card.set("sign", Sign(cord.last));
  std::set<std::string> limits;
  std::size_t attempts = 0;
  std::string newest;
  data faces{data::type::list};
  for (const Face& face : cord.faces) {
    auto of_face = FaceCard(store, face, fit);
    if (!of_face.ok()) return of_face.error();
    faces.push_back(*of_face);
    limits.insert(face.attempts.back().limits_id);
    attempts = std::max(attempts, face.attempts.size());
    newest = std::max(newest, face.attempts.back().taken_at);
  }
  std::string words;
  for (const std::string& id : limits) words += (words.empty() ? "" : " ") + PrintableText(id);
  card.set("limits", words);
  card.set("attempts", std::to_string(attempts));
  card.set("time", PrintableText(newest));
  card.set("faces", faces);
  std::string missing;
  for (const std::string& end : cord.missing) missing += (missing.empty() ? "" : ", ") + end;
  if (!missing.empty()) card.set("missing", PrintableText(missing));
  return card;
}

}  // namespace

const char* Sign(State state) {
  switch (state) {
    case State::kPass:
      return "\u2713";
    case State::kFail:
      return "\u2715";
    case State::kOpen:
      break;
  }
  return "?";
}

Result<std::string> CordCards(const store::Store& store,
                              const summary::Cords& cords,
                              const summary::Decision& decision,
                              const ReportOptions& options) {
  const auto fit = Fit(store, cords, options);
  if (!fit.ok()) return fit.error();
  kainjow::mustache::mustache page(kCordTemplate);
  const std::set<std::string> sample(decision.sample.begin(), decision.sample.end());
  std::string html;
  for (const summary::Cord& cord : cords.cords) {
    auto card = CordCard(store, cord, *fit);
    if (!card.ok()) return card.error();
    if (decision.plan && sample.contains(cord.name)) card->set("sampled", data::type::bool_true);
    html += page.render(*card);
  }
  return html;
}

}  // namespace endgrade::report

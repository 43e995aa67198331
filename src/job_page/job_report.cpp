#include "job_page/job_report.h"

#include "cli/run_in_order.h"
#include "endgrade/read.h"
#include "endgrade/version.h"
#include "evidence/carried.h"
#include "evidence/evidence.h"
#include "job/kept.h"
#include "job/manifest.h"
#include "job/sign.h"
#include "job_page/face_history.h"
#include "job_page_parts.h"
#include "present/encode.h"
#include "present/escape.h"
#include "present/words.h"
#include "read/file_bytes.h"
#include "report/html.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <kainjow/mustache.hpp>
#include <map>
#include <set>

namespace endgrade::job_page {
namespace fs = std::filesystem;
namespace {

using job::FaceState;
using job::PortState;
using kainjow::mustache::data;
using report::Base64;

constexpr const char* kSafety =
    "Check for optical power before looking at or touching an end face, and never look into a "
    "fibre with the naked eye or an unfiltered optical scope. Isopropanol is flammable; fibre "
    "shards injure. Follow the site's rules and local codes, and leave the decision on a "
    "laser-classified system to licensed people.";

constexpr std::int64_t kMostOverlayBytes = 64 << 20;
constexpr int kPictureWidth_px = 1000;  // at 88 mm, 290 dots an inch
constexpr int kPictureQuality = 82;

struct Look {
  const char* sign;
  const char* css;
};

Look LookOf(FaceState state) {
  if (state == FaceState::kPass) return {"\u2713", "good"};
  const bool bad = state == FaceState::kFail || state == FaceState::kRejected;
  return bad ? Look{"\u2715", "bad"} : Look{"?", "open"};
}

Look LookOf(PortState state) {
  if (state == PortState::kReady) return {"\u2713", "good"};
  return state == PortState::kNotReady ? Look{"\u2715", "bad"} : Look{"?", "open"};
}

Look LookOf(const std::string& verdict) {
  if (verdict == "pass") return {"\u2713", "good"};
  return verdict == "fail" ? Look{"\u2715", "bad"} : Look{"?", "open"};
}

void SetState(const std::string& word, Look look, data* to) {
  to->set("word", word);
  to->set("sign", look.sign);
  to->set("class", look.css);
}

std::string Anchor(std::size_t i) { return "port-" + std::to_string(i + 1); }

std::string FaceTitle(const job::FaceStatus& face, const job::Port& port) {
  std::string title = "Side " + face.face.side;
  if (port.fibres > 1) title += ", fibre " + std::to_string(face.face.fibre);
  return PrintableText(title);
}

// "2026-11-25 10:11:12 (camera's clock)"
std::string Time(const std::string& iso, const std::string& from) {
  std::string text = iso;
  std::replace(text.begin(), text.end(), 'T', ' ');
  if (text.ends_with('Z')) text.replace(text.size() - 1, 1, " UTC");
  if (from == "exif") text += " (camera's clock)";
  if (from == "file") text += " UTC (file's time)";
  return PrintableText(text);
}

std::string Joined(const std::set<std::string>& texts) {
  std::string joined;
  for (const std::string& text : texts) joined += (joined.empty() ? "" : "; ") + text;
  return joined.empty() ? "nobody yet" : PrintableText(joined);
}

class Reporter {
 public:
  Reporter(const fs::path& job,
           const store::Store& store,
           const job::Plan& plan,
           const job::Status& status)
      : job_(job), store_(store), plan_(plan), status_(status) {}

  Result<std::string> Render(const ReportOptions& options) {
    if (auto error = FindHistories(options.threads)) return *error;
    data page;
    page.set("name", PrintableText(plan_.name));
    page.set("paper", options.paper == Paper::kA4 ? "A4" : "letter");
    page.set("style", kJobStyle);
    page.set("safety", kSafety);
    SetOutcome(&page);
    SetPorts(&page);  // gathers who, cameras, limits and evidence on the way
    page.set("who", Joined(who_));
    page.set("cameras", Joined(cameras_));
    page.set("program", PrintableText("endgrade " + Version() + " (" + Build() + ")"));
    page.set("photographs", Photographs());
    SetLimits(&page);
    if (auto error = SetProof(&page)) return *error;
    page.set("evidence", evidence::HtmlBlock(CarriedList()));
    return evidence::Seal(kainjow::mustache::mustache(kJobTemplate).render(page));
  }

 private:
  // Of every face with a photograph, by its place in the status.
  std::optional<Error> FindHistories(int threads) {
    const auto table = FindAdvice();
    if (!table.ok()) return table.error();
    std::vector<const job::FaceStatus*> faces;
    for (const job::PortStatus& port : status_.ports) {
      for (const job::FaceStatus& face : port.faces) {
        if (!face.shots.empty()) faces.push_back(&face);
      }
    }
    cli::RunInOrder<FaceHistory>(
        faces.size(),
        threads,
        [&](std::size_t i) { return HistoryOf(job_, *faces[i], *table); },
        [&](std::size_t i, FaceHistory history) {
          histories_[faces[i]] = std::move(history);
          return true;
        });
    return std::nullopt;
  }

  void SetOutcome(data* page) const {
    const std::size_t all = status_.ports.size();
    page->set("ready", std::to_string(status_.num_ready));
    page->set("not_ready", std::to_string(status_.num_not_ready));
    page->set("to_inspect", std::to_string(status_.num_to_inspect));
    page->set("all", std::to_string(all));
    const PortState state = status_.num_not_ready > 0    ? PortState::kNotReady
                            : status_.num_to_inspect > 0 ? PortState::kToInspect
                                                         : PortState::kReady;
    page->set("sign", LookOf(state).sign);
    page->set("outcome_class", LookOf(state).css);
    page->set("outcome",
              state == PortState::kReady ? "All " + std::to_string(all) + " ports are ready"
                                         : std::to_string(status_.num_ready) + " of " +
                                               std::to_string(all) + " ports are ready");
    if (status_.notes.empty()) return;
    data notes{data::type::list};
    for (const std::string& note : status_.notes) notes.push_back({"text", PrintableText(note)});
    page->set("has_notes", data::type::bool_true);
    page->set("notes", notes);
  }

  void SetPorts(data* page) {
    data rows{data::type::list};
    data pages{data::type::list};
    bool any_attached = false;
    for (std::size_t i = 0; i < status_.ports.size(); ++i) {
      const job::PortStatus& port = status_.ports[i];
      data common;
      common.set("anchor", Anchor(i));
      common.set("words", PrintableText(port.port.address.Words()));
      SetState(job::Word(port.state), LookOf(port.state), &common);
      data row = common;
      row.set("faces", FaceWords(port));
      rows.push_back(row);
      // A port of which nothing is known fills no page.
      const bool is_empty = port.attachments.empty() &&
                            std::all_of(port.faces.begin(), port.faces.end(), [](const auto& face) {
                              return face.shots.empty();
                            });
      if (is_empty) continue;
      common.set("faces", Faces(port));
      any_attached |= SetAttachments(port, &common);
      pages.push_back(common);
    }
    page->set("ports", rows);
    page->set("pages", pages);
    if (any_attached) page->set("any_attachments", data::type::bool_true);
  }

  static data FaceWords(const job::PortStatus& port) {
    data list{data::type::list};
    for (const job::FaceStatus& face : port.faces) {
      data item;
      item.set("title", FaceTitle(face, port.port));
      const std::size_t count = face.shots.size();
      item.set("attempts", count < 2 ? "" : ", attempt " + std::to_string(count));
      SetState(job::Word(face.state), LookOf(face.state), &item);
      list.push_back(item);
    }
    return list;
  }

  data Faces(const job::PortStatus& port) {
    data list{data::type::list};
    for (const job::FaceStatus& face : port.faces) {
      data item;
      item.set("title", FaceTitle(face, port.port));
      SetState(job::Word(face.state), LookOf(face.state), &item);
      SetNext(port, face, &item);
      if (!face.shots.empty()) SetShots(face, &item);
      list.push_back(item);
    }
    return list;
  }

  // Nothing more is to be done with a port that is ready.
  void SetNext(const job::PortStatus& port, const job::FaceStatus& face, data* item) const {
    if (port.state == PortState::kReady) return;
    data line;
    if (face.shots.empty()) {
      line.set("text", "Photograph this face.");
    } else {
      const auto& advice = histories_.at(&face).advice;
      if (!advice) return;
      line.set("text", PrintableText(advice->say));
      line.set("source", PrintableText(advice->source));
    }
    item->set("next", line);
  }

  void SetHistory(const job::FaceStatus& face, data* item) const {
    if (face.shots.size() < 2) return;
    const FaceHistory& history = histories_.at(&face);
    item->set("has_changes", data::type::bool_true);
    if (!history.not_compared.empty()) {
      item->set("registration", "not compared: " + history.not_compared + ".");
      return;
    }
    item->set("counts", history.counts);
    item->set("registration", history.registration);
    data things{data::type::list};
    for (const std::string& thing : history.things) things.push_back({"text", thing});
    item->set("changes", things);
  }

  // First and last side by side; what is in between in words.
  void SetShots(const job::FaceStatus& face, data* item) {
    data shots{data::type::list};
    shots.push_back(ShotData(face, face.shots.front(), face.shots.size() > 1 ? "Before" : "Only"));
    if (face.shots.size() > 1) shots.push_back(ShotData(face, face.shots.back(), "After"));
    item->set("has_shots", data::type::bool_true);
    SetHistory(face, item);
    item->set("shots", shots);
    if (face.shots.size() == 1) item->set("is_single", data::type::bool_true);
    std::string between;
    for (std::size_t i = 1; i + 1 < face.shots.size(); ++i) {
      const job::Shot& shot = face.shots[i];
      Note(shot);
      between += (between.empty() ? "attempt " : "; attempt ") +
                 std::to_string(shot.attempt.number) + " " + shot.attempt.verdict;
    }
    if (!between.empty()) item->set("between", PrintableText(between));
  }

  data ShotData(const job::FaceStatus& face, const job::Shot& shot, const char* which) {
    Note(shot);
    const std::string number = "attempt " + std::to_string(shot.attempt.number);
    data item;
    item.set("label", std::string(which) + ", " + number);
    item.set("alt", PrintableText(face.face.Words() + ", " + number));
    SetState(PrintableText(shot.attempt.verdict), LookOf(shot.attempt.verdict), &item);
    if (shot.attempt.marginal) item.set("marginal", data::type::bool_true);
    item.set("taken", Time(shot.attempt.taken_at, shot.taken_from));
    item.set("added", Time(shot.added_at, ""));
    item.set("who", PrintableText(shot.who));
    item.set("camera", PrintableText(shot.camera));
    item.set("limits", PrintableText(shot.attempt.limits_id));
    item.set("program", PrintableText(shot.program));
    item.set("sha256", PrintableText(shot.attempt.sha256));
    if (!shot.attempt.reasons.empty()) {
      data reasons{data::type::list};
      for (const std::string& reason : shot.attempt.reasons) {
        reasons.push_back({"text", PrintableText(reason)});
      }
      item.set("has_reasons", data::type::bool_true);
      item.set("reasons", reasons);
    }
    const std::string picture = PictureOf(shot);
    if (!picture.empty()) item.set("picture", Base64(picture));
    return item;
  }

  // The kept overlay, small enough for many of them; empty where there is none.
  std::string PictureOf(const job::Shot& shot) const {
    const auto bytes = read::ReadFileBytes(job_ / shot.overlay, kMostOverlayBytes);
    if (!bytes.ok()) return "";
    ReadOptions options;
    options.colour = true;
    const auto frame = DecodeFrame(*bytes, shot.overlay, options);
    if (!frame.ok() || frame->colour.empty()) return "";
    cv::Mat picture = frame->colour;
    if (picture.cols > kPictureWidth_px) {
      const int height = picture.rows * kPictureWidth_px / picture.cols;
      cv::Mat smaller;
      cv::resize(picture, smaller, {kPictureWidth_px, height}, 0, 0, cv::INTER_AREA);
      picture = smaller;
    }
    auto jpeg = EncodeJpeg(picture, kPictureQuality);
    return jpeg.ok() ? *std::move(jpeg) : "";
  }

  // What the summary says of all photographs, and the record for the page to carry.
  void Note(const job::Shot& shot) {
    who_.insert(shot.who);
    cameras_.insert(shot.camera);
    limits_[shot.limits_sha256] = shot.attempt.limits_id;
    const std::string& at = shot.attempt.taken_at;
    if (first_.empty() || at < first_) first_ = at;
    last_ = std::max(last_, at);
    ++count_;
    const auto bytes = read::ReadFileBytes(job_ / shot.overlay, kMostOverlayBytes);
    if (!bytes.ok()) return;
    const auto carried = evidence::CarriedText(*bytes, shot.overlay);
    if (carried.ok()) pieces_.push_back(*carried);
  }

  std::string Photographs() const {
    if (count_ == 0) return "none";
    return std::to_string(count_) + ", taken from " + Time(first_, "") + " to " + Time(last_, "");
  }

  void SetLimits(data* page) const {
    data list{data::type::list};
    for (const auto& [sha256, id] : limits_) {
      const auto kept = job::KeptLimits(job_, sha256, id);
      data item;
      item.set("id", PrintableText(id));
      item.set("sha256", PrintableText(sha256));
      item.set("title", PrintableText(kept.ok() ? kept->title : "limits that are not in the job"));
      item.set("edition", PrintableText(kept.ok() ? kept->edition : ""));
      list.push_back(item);
    }
    page->set("limits", list);
  }

  std::optional<Error> SetProof(data* page) const {
    const auto runs = store_.Runs();
    if (!runs.ok()) return runs.error();
    page->set("num_rows", std::to_string(store_.Count()));
    page->set("head", store_.Head());
    page->set("num_entries", std::to_string(runs->size()));
    page->set("log_head", runs->empty() ? "-" : runs->back().chain);
    data list{data::type::list};
    bool any = false;
    for (const auto& [name, plain] : job::FilesIn(job_ / "signatures").files) {
      const auto text = read::ReadFileBytes(job_ / "signatures" / name, kMostOverlayBytes);
      if (!text.ok()) continue;
      const auto signature = job::ParseSignature(*text, name);
      if (!signature.ok() || !job::Holds(*signature)) continue;
      const job::Statement& statement = signature->statement;
      data item;
      item.set("at", PrintableText(statement.at));
      item.set("key", signature->key.Fingerprint());
      item.set("covers",
               "the first " + std::to_string(statement.num_photographs) + " photographs of " +
                   std::to_string(store_.Count()));
      list.push_back(item);
      any = true;
    }
    page->set("signatures", list);
    if (any) page->set("is_signed", data::type::bool_true);
    return std::nullopt;
  }

  std::string CarriedList() const {
    evidence::EvidenceList list;
    list.evidence = pieces_;
    return evidence::EvidenceListJson(list);
  }

  static bool SetAttachments(const job::PortStatus& port, data* page) {
    if (port.attachments.empty()) return false;
    data list{data::type::list};
    for (const job::Attachment& attachment : port.attachments) {
      data item;
      item.set("name", PrintableText(attachment.name));
      item.set("size", std::to_string(attachment.size_bytes) + " bytes");
      item.set("who", PrintableText(attachment.who));
      item.set("sha256", PrintableText(attachment.sha256));
      list.push_back(item);
    }
    page->set("has_attachments", data::type::bool_true);
    page->set("attachments", list);
    return true;
  }

  const fs::path& job_;
  const store::Store& store_;
  const job::Plan& plan_;
  const job::Status& status_;
  std::map<const job::FaceStatus*, FaceHistory> histories_;
  std::set<std::string> who_;
  std::set<std::string> cameras_;
  std::map<std::string, std::string> limits_;  // ID by hash
  std::string first_;
  std::string last_;
  std::size_t count_ = 0;
  std::vector<std::string> pieces_;  // what the overlays carry
};

}  // namespace

Result<std::string> JobReport(const fs::path& job,
                              const store::Store& store,
                              const job::Plan& plan,
                              const job::Status& status,
                              const ReportOptions& options) {
  return Reporter(job, store, plan, status).Render(options);
}

}  // namespace endgrade::job_page

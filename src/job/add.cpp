#include "job/add.h"

#include "cli/run_in_order.h"
#include "core/sha256.h"
#include "endgrade/present.h"
#include "job/kept.h"
#include "job/status.h"
#include "lot/grade_photograph.h"
#include "lot/taken_at.h"
#include "present/encode.h"
#include "read/file_bytes.h"

#include <algorithm>
#include <cctype>
#include <map>
#include <set>
#include <sys/stat.h>

namespace endgrade::job {
namespace fs = std::filesystem;
namespace {

constexpr std::int64_t kMostAttachmentBytes = 256 << 20;

Error Refusal(const fs::path& file, std::string what, std::string remedy) {
  return {ErrorKind::kBadOption, file.string(), 0, std::move(what), std::move(remedy)};
}

Error WithFile(Error error, const fs::path& file) {
  error.file = file.string();
  return error;
}

// What the store has: the face of each picture, and the attempts of each face.
struct Known {
  std::map<std::string, store::Row> by_sha256;  // records left out
  std::map<Face, std::set<int>> attempts;
};

Result<Known> KnownTo(const store::Store& store) {
  Known known;
  const auto error = store.ForEach({}, store::RowParts::kNoRecord, [&](const store::Row& row) {
    known.by_sha256[row.sha256] = row;
    known.attempts[FaceOfRow(row)].insert(row.face.attempt);
    return true;
  });
  if (error) return *error;
  return known;
}

// A photograph on its way in.
struct Coming {
  fs::path source;
  Face face;
  std::optional<int> attempt;  // that its name tells
  lot::Photograph photograph;
  std::optional<store::Row> known;
};

// The ending of a file's name where it is a plain one; photographs are told by their bytes, not
// by it.
std::string EndingOf(const fs::path& file) {
  std::string ending = file.extension().string();
  constexpr std::size_t kLongest = 6;
  const bool plain = ending.size() > 1 && ending.size() <= kLongest &&
                     std::all_of(ending.begin() + 1, ending.end(), [](unsigned char c) {
                       return std::isalnum(c);
                     });
  if (!plain) return ".bin";
  std::transform(ending.begin(), ending.end(), ending.begin(), [](unsigned char c) {
    return static_cast<char>(std::tolower(c));
  });
  return ending;
}

std::int64_t ModifiedAt(const fs::path& file) {
  struct stat status {};
  if (stat(file.c_str(), &status) != 0) return 0;
  return lot::NanosecondsOf(status.st_mtim);
}

class Adder {
 public:
  Adder(Folder& folder, const AddOptions& options) : folder_(folder), options_(options) {}

  Result<AddResult> Run(const std::vector<fs::path>& files,
                        const std::function<bool(const Added&, std::size_t, std::size_t)>& step) {
    auto known = KnownTo(folder_.store());
    if (!known.ok()) return known.error();
    known_ = std::move(*known);
    if (auto error = folder_.KeepSettings()) return *error;
    if (auto error = ReadSources()) return *error;
    if (auto error = LogStart()) return *error;
    for (const fs::path& file : files) {
      auto coming = FaceOf(file);
      if (coming.ok()) {
        coming_.push_back(std::move(*coming));
      } else {
        result_.refused.push_back(WithFile(coming.error(), file));
      }
    }
    // By name "01-A-2.jpg" comes before "01-A.jpg"; the first attempt comes first all the same.
    std::stable_sort(coming_.begin(), coming_.end(), [](const Coming& a, const Coming& b) {
      return a.attempt.value_or(1) < b.attempt.value_or(1);
    });
    if (auto error = CopyAll()) return *error;
    return Grade(step);
  }

 private:
  // The sources of each kind's limits, for what the overlays carry.
  std::optional<Error> ReadSources() {
    for (const auto& [kind, limits] : folder_.plan().settings.limits) {
      auto sources = LimitsSourcesOf(limits.path);
      if (!sources.ok()) return sources.error();
      sources_[limits.sha256] = std::move(*sources);
    }
    return std::nullopt;
  }

  std::optional<Error> LogStart() {
    Adding adding;
    adding.who = options_.who.empty() ? folder_.plan().who : options_.who;
    adding.camera = options_.camera.empty() ? folder_.plan().camera : options_.camera;
    adding.settings = evidence::SettingsOf(folder_.plan().settings.options);
    return folder_.Log(AddEvent(adding, folder_.job_file_sha256()));
  }

  Result<Coming> FaceOf(const fs::path& file) const {
    const Plan& plan = folder_.plan();
    Coming coming;
    coming.source = file;
    std::string port = options_.port;
    std::string side = options_.side;
    int fibre = options_.fibre;
    if (port.empty()) {
      const auto told = lot::MatchAny(plan.settings.patterns, file.generic_string());
      if (!told) {
        return Refusal(file,
                       "its name does not tell which face it is of",
                       "Use --port and --side, name it like 01-A-2.jpg (port, side, attempt), or "
                       "write the pattern into job.toml");
      }
      port = told->cord;
      if (side.empty()) side = told->end;
      fibre = told->fibre;
      if (told->attempt > 1) coming.attempt = told->attempt;
    }
    const auto meant = plan.Meant(port);
    if (!meant.ok()) return meant.error();
    auto face = plan.FaceOf(**meant, side, fibre);
    if (!face.ok()) return face.error();
    coming.face = std::move(*face);
    const Limits* limits = plan.settings.LimitsOf((*meant)->kind);
    coming.photograph.limits = limits;
    coming.photograph.face = RowFaceOf(coming.face, (*meant)->kind, 1);
    return coming;
  }

  // Nothing against it: the picture is new, or of this very face.
  std::optional<Error> PictureProblem(const Coming& coming, const std::string& sha256) {
    const auto row = known_.by_sha256.find(sha256);
    if (row != known_.by_sha256.end()) {
      const Face other = FaceOfRow(row->second);
      if (other == coming.face) return std::nullopt;
      return Refusal(coming.source,
                     "the very same picture is in the job as " + other.Words(),
                     "It can show only one of them: photograph this face itself");
    }
    const auto [named, is_new] = named_.emplace(sha256, coming.source);
    if (is_new) return std::nullopt;
    return Refusal(coming.source,
                   "the very same picture was given as " + named->second.string(),
                   "Photograph each attempt itself");
  }

  // Into the job's folder, under the hashes; what is refused drops out. The error is the disk's.
  std::optional<Error> CopyAll() {
    std::vector<Coming> copied;
    for (Coming& coming : coming_) {
      if (auto error = Copy(&coming)) {
        error->file = error->kind == ErrorKind::kWriteFailed ? error->file : coming.source.string();
        if (error->kind == ErrorKind::kWriteFailed) return error;
        result_.refused.push_back(std::move(*error));
      } else {
        copied.push_back(std::move(coming));
      }
    }
    coming_ = std::move(copied);
    return std::nullopt;
  }

  std::optional<Error> Copy(Coming* coming) {
    const fs::path& file = coming->source;
    const auto bytes =
        read::ReadNamedFileBytes(file, folder_.plan().settings.options.read.max_file_bytes);
    if (!bytes.ok()) return bytes.error();
    const std::string sha256 = Sha256Hex(*bytes);
    if (auto problem = PictureProblem(*coming, sha256)) return problem;
    const auto row = known_.by_sha256.find(sha256);
    if (row != known_.by_sha256.end()) {
      coming->known = row->second;
      return std::nullopt;
    }
    if (coming->attempt && (known_.attempts[coming->face].contains(*coming->attempt) ||
                            !told_[coming->face].insert(*coming->attempt).second)) {
      return Refusal(
          file,
          coming->face.Words() + " has an attempt " + std::to_string(*coming->attempt) + " already",
          "Give it the next number, or use --port and --side");
    }
    const fs::path relative =
        fs::path("photographs") / coming->face.Folder() / (sha256 + EndingOf(file));
    if (auto error = folder_.Write(relative, *bytes)) return error;
    coming->photograph.file = folder_.path() / relative;
    coming->photograph.path = relative.generic_string();
    coming->photograph.size_bytes = static_cast<std::int64_t>(bytes->size());
    coming->photograph.modified_ns = ModifiedAt(file);
    coming->photograph.face.rater = options_.who.empty() ? folder_.plan().who : options_.who;
    return std::nullopt;
  }

  struct Graded {
    std::optional<store::Row> row;
    std::string overlay;
  };

  Graded GradeOne(const Coming& coming) const {
    Graded graded;
    if (coming.known) return graded;
    lot::Settings settings = folder_.plan().settings;
    settings.options.read.colour = true;
    cv::Mat drawn;
    graded.row = lot::GradePhotograph(
        settings, coming.photograph, {}, [&](const Frame& frame, const endgrade::Grade& grade) {
          drawn = DrawOverlay(frame, *coming.photograph.limits, grade);
        });
    if (drawn.empty() || !graded.row) return graded;
    evidence::Evidence evidence;
    evidence.record = graded.row->record;
    evidence.settings = evidence::SettingsOf(settings.options);
    evidence.limits = sources_.at(coming.photograph.limits->sha256);
    auto bytes = EncodeJpeg(drawn, kOverlayQuality, evidence::EvidenceJson(evidence));
    if (bytes.ok()) graded.overlay = std::move(*bytes);
    return graded;
  }

  int NextAttempt(const Coming& coming) {
    auto& attempts = known_.attempts[coming.face];
    const int next = attempts.empty() ? 1 : *attempts.rbegin() + 1;
    const int attempt =
        coming.attempt && !attempts.contains(*coming.attempt) ? *coming.attempt : next;
    attempts.insert(attempt);
    return attempt;
  }

  // Overlay first: once the row is there, all of the photograph is.
  std::optional<Error> Take(const Coming& coming, Graded graded, Added* added) {
    graded.row->face.attempt = NextAttempt(coming);
    if (!graded.overlay.empty()) {
      if (auto error = folder_.Write(OverlayOf(graded.row->path), graded.overlay)) return error;
    }
    if (auto error = folder_.store().Append(*graded.row)) return error;
    added->row = std::move(*graded.row);
    return std::nullopt;
  }

  void Refuse(const Coming& coming, const store::Row& row) {
    const auto attempt = summary::AttemptOf(row);
    folder_.Forget(coming.photograph.path);
    std::string why = attempt.reasons.empty() ? "cannot be read" : attempt.reasons.front();
    if (why.starts_with(row.path)) why = why.substr(row.path.size());
    const std::size_t start = why.find_first_not_of(": ");
    if (!why.empty() && why.back() == '.') why.pop_back();
    result_.refused.push_back(Refusal(
        coming.source, start == std::string::npos ? "cannot be read" : why.substr(start), ""));
  }

  Result<AddResult> Grade(const std::function<bool(const Added&, std::size_t, std::size_t)>& step) {
    std::optional<Error> error;
    cli::RunInOrder<Graded>(
        coming_.size(),
        options_.threads,
        [&](std::size_t i) { return GradeOne(coming_[i]); },
        [&](std::size_t i, Graded graded) {
          const Coming& coming = coming_[i];
          if (graded.row && graded.row->verdict == "unreadable") {
            Refuse(coming, *graded.row);
            return true;
          }
          Added added{coming.source, coming.face, {}, coming.known.has_value()};
          if (coming.known) added.row = *coming.known;
          if (!coming.known && (error = Take(coming, std::move(graded), &added))) return false;
          const bool go_on = step(added, i + 1, coming_.size());
          result_.added.push_back(std::move(added));
          result_.stopped = !go_on && i + 1 < coming_.size();
          return go_on;
        });
    if (error) return *error;
    error = folder_.Log(AddedEvent(result_.added.size(), folder_.job_file_sha256()));
    if (error) return *error;
    return std::move(result_);
  }

  Folder& folder_;
  const AddOptions& options_;
  Known known_;
  std::map<std::string, fs::path> named_;  // by hash: pictures of this run
  std::map<Face, std::set<int>> told_;     // attempts that names of this run tell
  std::map<std::string, std::vector<LimitsSource>> sources_;
  std::vector<Coming> coming_;
  AddResult result_;
};

}  // namespace

Result<AddResult> AddPhotographs(
    Folder& folder,
    const std::vector<fs::path>& files,
    const AddOptions& options,
    const std::function<bool(const Added&, std::size_t, std::size_t)>& step) {
  return Adder(folder, options).Run(files, step);
}

std::optional<Error> Attach(Folder& folder,
                            const std::string& port,
                            const std::vector<fs::path>& files,
                            const std::string& who) {
  const auto meant = folder.plan().Meant(port);
  if (!meant.ok()) return meant.error();
  for (const fs::path& file : files) {
    const auto bytes = read::ReadNamedFileBytes(file, kMostAttachmentBytes);
    if (!bytes.ok()) return bytes.error();
    Attachment attachment;
    attachment.address = (*meant)->address;
    attachment.sha256 = Sha256Hex(*bytes);
    attachment.size_bytes = static_cast<std::int64_t>(bytes->size());
    attachment.name = file.filename().string();
    attachment.who = who.empty() ? folder.plan().who : who;
    const fs::path relative = fs::path("attachments") / attachment.address.Folder() /
                              (attachment.sha256 + EndingOf(file));
    attachment.file = relative.generic_string();
    if (folder.IsListedAs(attachment.file, attachment.sha256)) continue;  // there already
    if (auto error = folder.Write(relative, *bytes)) return error;
    if (auto error = folder.Log(AttachEvent(attachment, folder.job_file_sha256()))) return error;
  }
  return std::nullopt;
}

}  // namespace endgrade::job

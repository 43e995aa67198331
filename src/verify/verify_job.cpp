#include "verify/verify_job.h"

#include "cli/run_in_order.h"
#include "endgrade/present.h"
#include "endgrade/version.h"
#include "evidence/evidence.h"
#include "job/kept.h"
#include "job/log.h"
#include "job/manifest.h"
#include "job/plan.h"
#include "job/sign.h"
#include "job/status.h"
#include "lot/grade_photograph.h"
#include "present/encode.h"
#include "present/escape.h"
#include "read/file_bytes.h"
#include "store/store.h"
#include "verify/regrade.h"

#include <algorithm>
#include <fcntl.h>
#include <map>
#include <set>
#include <sys/file.h>
#include <unistd.h>

namespace endgrade::verify {
namespace fs = std::filesystem;
namespace {

constexpr std::int64_t kMostFileBytes = 256 << 20;

// Whether another command has the job open for writing. Asks without leaving a trace.
bool IsBeingWritten(const fs::path& job) {
  const fs::path file = job / (std::string(job::kStoreFile) + ".lock");
  const int descriptor = open(file.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
  if (descriptor < 0) return false;
  const bool taken = flock(descriptor, LOCK_SH | LOCK_NB) != 0 && errno == EWOULDBLOCK;
  close(descriptor);
  return taken;
}

std::string ProgramOfThis() { return "endgrade " + Version() + " (" + Build() + ")"; }

class JobVerifier {
 public:
  JobVerifier(fs::path job, const JobOptions& options) : job_(std::move(job)), options_(options) {}

  Result<Report> Run() {
    if (auto error = Refusal()) return *error;
    if (auto error = ReadManifest()) return *error;
    CompareFiles();
    if (auto error = ReadStore()) return *error;
    if (store_) {
      CheckRows();
      CheckLog();
      CheckSignatures();
      if (options_.grade) GradeAgain();
    }
    return std::move(report_);
  }

 private:
  void Problem(const std::string& text) { report_.problems.push_back(PrintableText(text)); }

  std::optional<Error> Refusal() const {
    std::error_code ignored;
    const bool is_job = fs::exists(job_ / job::kJobFile, ignored) ||
                        fs::exists(job_ / job::kManifestFile, ignored) ||
                        fs::exists(job_ / job::kStoreFile, ignored);
    if (!is_job) {
      return Error{ErrorKind::kNotFound,
                   job_.string(),
                   0,
                   "this is no job: there is neither job.toml nor manifest.json in it",
                   "Name a job's folder, an overlay or a report"};
    }
    if (!IsBeingWritten(job_)) return std::nullopt;
    return Error{ErrorKind::kWriteFailed,
                 job_.string(),
                 0,
                 "another command is writing to this job",
                 "Wait for it to end"};
  }

  std::optional<Error> ReadManifest() {
    const auto text = read::ReadFileBytes(job_ / job::kManifestFile, kMostFileBytes);
    if (!text.ok()) {
      Problem("manifest.json: " + text.error().what +
              ": the job's files cannot be held against it");
      return std::nullopt;
    }
    auto manifest = job::Manifest::Parse(*text);
    if (manifest.ok()) {
      manifest_ = std::move(*manifest);
    } else if (manifest.error().kind == ErrorKind::kUnsupported) {
      Error error = manifest.error();
      error.file = (job_ / job::kManifestFile).string();
      return error;
    } else {
      Problem("manifest.json is not as it was written");
    }
    return std::nullopt;
  }

  void CompareFiles() {
    const job::Found found = job::FilesIn(job_);
    if (!found.problem.empty()) Problem("the folder cannot be listed whole: " + found.problem);
    for (const auto& [path, plain] : found.files) {
      if (!plain) {
        Problem(path + " is a link or a device; a job holds its files itself");
      } else if (!job::IsListed(path)) {
        CheckUnlisted(path);
      } else if (!manifest_ || manifest_->files.contains(path)) {
        CompareFile(path);
      } else {
        Problem(Unexpected(path));
      }
    }
    if (!manifest_) return;
    for (const auto& [path, entry] : manifest_->files) {
      if (!found.files.contains(path)) Problem(path + " is missing");
    }
  }

  // The store's lock holds nothing; it is only locked.
  void CheckUnlisted(const std::string& path) {
    std::error_code ignored;
    if (path != job::kManifestFile && fs::file_size(job_ / path, ignored) != 0) {
      Problem(path + " is not empty, as it was written");
    }
  }

  void CompareFile(const std::string& path) {
    const auto entry = job::EntryOf(job_ / path);
    if (!entry.ok()) return Problem(path + ": " + entry.error().what);
    if (manifest_ && *entry != manifest_->files.at(path)) Problem(path + Changed(path));
  }

  static std::string Changed(const std::string& path) {
    if (path == job::kJobFile) {
      return " was changed since the last command (if you did: the next `endgrade job add` notes "
             "it)";
    }
    return " is not as it was written";
  }

  static std::string Unexpected(const std::string& path) {
    const std::string again =
        ": a command was broken off, or is to be run again: the next `endgrade job add` puts it in "
        "order";
    if (job::IsPartial(path) || path.starts_with(std::string(job::kStoreFile) + "-")) {
      return path + again;
    }
    if (path.starts_with("photographs/") || path.starts_with("overlays/") ||
        path.starts_with("attachments/")) {
      return path + " is in no record (a command that was broken off, run again, takes it in)";
    }
    return path + " is not a file of the job";
  }

  std::optional<Error> ReadStore() {
    auto store = store::Store::OpenToRead(job_ / job::kStoreFile);
    if (!store.ok()) {
      if (store.error().kind == ErrorKind::kUnsupported && StoreIsAsWritten()) return store.error();
      Problem("job.sqlite: " + store.error().what);
      return std::nullopt;
    }
    const auto verification = store::Verify(*store);
    if (!verification.ok()) {
      Problem("job.sqlite: " + verification.error().what);
      return std::nullopt;
    }
    for (const std::string& problem : verification->problems) Problem("job.sqlite: " + problem);
    auto log = job::ReadLog(*store);
    if (!log.ok()) {
      Problem("job.sqlite: " + log.error().what);
      return std::nullopt;
    }
    log_ = std::move(*log);
    auto runs = store->Runs();
    if (runs.ok()) runs_ = std::move(*runs);
    store_ = std::make_unique<store::Store>(std::move(*store));
    CompareHeads();
    return std::nullopt;
  }

  // A store of a newer version is refused; one whose version was changed is a problem.
  bool StoreIsAsWritten() const {
    if (!manifest_) return false;
    const auto entry = job::EntryOf(job_ / job::kStoreFile);
    const auto listed = manifest_->files.find(job::kStoreFile);
    return entry.ok() && listed != manifest_->files.end() && *entry == listed->second;
  }

  void CompareHeads() {
    report_.notes.push_back(std::to_string(store_->Count()) + " photographs, " +
                            std::to_string(runs_.size()) + " entries in the log; head " +
                            store_->Head());
    if (!manifest_) return;
    const std::string log_head = runs_.empty() ? "" : runs_.back().chain;
    if (manifest_->num_photographs != store_->Count() || manifest_->head != store_->Head() ||
        manifest_->num_entries != static_cast<std::int64_t>(runs_.size()) ||
        (!runs_.empty() && manifest_->log_head != log_head)) {
      Problem("the store has not the head that the manifest names");
    }
  }

  void CheckRows() {
    const auto error =
        store_->ForEach({}, store::RowParts::kNoThumbnail, [&](const store::Row& row) {
          heads_.push_back(row.chain);
          CheckFile(row.path, row.sha256, "photograph");
          if (!limits_.contains(row.limits_sha256)) {
            auto kept = job::KeptLimits(job_, row.limits_sha256, row.limits_id);
            if (!kept.ok()) {
              Problem("the limits \"" + row.limits_id + "\" of " + row.path + ": " +
                      kept.error().what);
            }
            limits_.emplace(row.limits_sha256,
                            kept.ok() ? std::optional<Limits>(std::move(*kept)) : std::nullopt);
          }
          rows_.push_back(row);
          return true;
        });
    if (error) Problem("job.sqlite: " + error->what);
  }

  // A path in a store may have been edited: it is looked at only inside the job.
  void CheckFile(const std::string& path, const std::string& sha256, const char* what) {
    const fs::path relative(path);
    const bool leaves = relative.is_absolute() ||
                        std::find(relative.begin(), relative.end(), "..") != relative.end();
    if (leaves) return Problem(std::string(what) + " " + path + " leads out of the job");
    const auto entry = job::EntryOf(job_ / relative);
    if (!entry.ok()) return Problem(std::string(what) + " " + path + ": " + entry.error().what);
    if (entry->sha256 != sha256) {
      Problem(std::string(what) + " " + path + " has not the hash in its record");
    } else {
      sound_.insert(path);
    }
  }

  void CheckLog() {
    for (const job::Entry& entry : log_) {
      if (entry.what == "attach") {
        CheckFile(entry.attachment.file, entry.attachment.sha256, "attachment");
      }
      const std::string& camera = entry.adding.settings.camera_sha256;
      if (!camera.empty() && !cameras_.contains(camera)) {
        auto kept = job::KeptCamera(job_, camera);
        if (!kept.ok()) Problem("camera profile " + camera + ": " + kept.error().what);
        cameras_.emplace(
            camera, kept.ok() ? std::make_shared<const CameraProfile>(std::move(*kept)) : nullptr);
      }
    }
    const auto entry = job::EntryOf(job_ / job::kJobFile);
    if (entry.ok() && !log_.empty() && entry->sha256 != log_.back().job_file_sha256 && manifest_ &&
        manifest_->files.contains(job::kJobFile) && manifest_->files.at(job::kJobFile) == *entry) {
      Problem("job.toml has not the hash in the log");
    }
  }

  // How much of the job a signature's statement covers; nothing when it is not this job's.
  bool IsOfThisJob(const job::Statement& statement) const {
    const auto reaches = [](std::int64_t count, std::size_t size) {
      return count >= 0 && static_cast<std::size_t>(count) <= size;
    };
    if (!reaches(statement.num_photographs, heads_.size()) ||
        !reaches(statement.num_entries, runs_.size())) {
      return false;
    }
    const auto photographs = static_cast<std::size_t>(statement.num_photographs);
    const auto entries = static_cast<std::size_t>(statement.num_entries);
    return entries > 0 && runs_[entries - 1].chain == statement.log_head &&
           (photographs == 0 || heads_[photographs - 1] == statement.head);
  }

  void CheckSignatures() {
    const job::Found found = job::FilesIn(job_ / "signatures");
    bool signer_covers_all = false;
    std::size_t count = 0;
    for (const auto& [name, plain] : found.files) {
      if (!plain || job::IsPartial(name)) continue;
      ++count;
      const std::string path = "signatures/" + name;
      const auto text = read::ReadFileBytes(job_ / path, kMostFileBytes);
      const auto signature =
          text.ok() ? job::ParseSignature(*text, path) : Result<job::Signature>(text.error());
      if (!signature.ok()) {
        Problem(path + ": " + signature.error().what);
      } else if (!job::Holds(*signature)) {
        Problem(path +
                ": the signature does not hold: what it signs was changed, or another key "
                "made it");
      } else if (!IsOfThisJob(signature->statement)) {
        Problem(path + ": the signature holds, but not of this job's photographs and log");
      } else {
        signer_covers_all |= NoteSignature(path, *signature);
      }
    }
    if (count == 0) {
      report_.notes.push_back(
          "not signed: hashes show what was changed, but whoever writes all of them anew is found "
          "only by a head that was kept elsewhere, or by a signature");
    }
    if (options_.signer && !signer_covers_all) {
      Problem("the key " + options_.signer->Fingerprint() +
              " has not signed all that is in this job");
    }
  }

  // True when the wanted signer signed all there is.
  bool NoteSignature(const std::string& path, const job::Signature& signature) {
    const job::Statement& statement = signature.statement;
    // Entries after a signature that add nothing (another signature) leave it whole.
    const bool is_all =
        statement.num_photographs == store_->Count() &&
        std::all_of(log_.begin() + static_cast<std::ptrdiff_t>(statement.num_entries),
                    log_.end(),
                    [](const job::Entry& entry) { return entry.what == "sign"; });
    report_.notes.push_back(
        path + ": signed at " + PrintableText(statement.at) + " (signer's clock) with the key " +
        signature.key.Fingerprint() + "; it covers " +
        (is_all ? "all of this job"
                : "the first " + std::to_string(statement.num_photographs) + " of " +
                      std::to_string(store_->Count()) + " photographs and the first " +
                      std::to_string(statement.num_entries) + " of " + std::to_string(log_.size()) +
                      " entries of the log: what came later is not signed") +
        ". A signature proves that somebody held the key, not who it was: compare the key's hash "
        "with the person's");
    return is_all && options_.signer && *options_.signer == signature.key;
  }

  struct Again {
    std::optional<store::Row> row;
    std::string overlay;  // its bytes, drawn again
    std::string why_not;
  };

  Again GradeOne(const store::Row& recorded) const {
    Again again;
    if (!sound_.contains(recorded.path)) return {std::nullopt, "", "its photograph is not sound"};
    const auto limits = limits_.find(recorded.limits_sha256);
    if (limits == limits_.end() || !limits->second) {
      return {std::nullopt, "", "its limits are not there"};
    }
    const job::Entry* entry = job::AddingOf(log_, recorded.seq);
    if (!entry) return {std::nullopt, "", "the log does not say with which settings"};
    const evidence::Settings& used = entry->adding.settings;
    lot::Settings settings;
    evidence::Apply(used, &settings.options);
    settings.options.read.colour = true;
    if (!used.camera_sha256.empty()) {
      const auto camera = cameras_.find(used.camera_sha256);
      if (camera == cameras_.end() || !camera->second) {
        return {std::nullopt, "", "its camera's profile is not there"};
      }
      settings.options.camera = camera->second;
    }
    lot::Photograph photograph;
    photograph.file = job_ / recorded.path;
    photograph.path = recorded.path;
    photograph.face = recorded.face;
    photograph.size_bytes = recorded.size_bytes;
    photograph.modified_ns = recorded.modified_ns;
    photograph.limits = &*limits->second;
    cv::Mat drawn;
    again.row =
        lot::GradePhotograph(settings, photograph, {}, [&](const Frame& frame, const Grade& grade) {
          if (recorded.program == ProgramOfThis()) {
            drawn = DrawOverlay(frame, *limits->second, grade);
          }
        });
    if (!drawn.empty()) again.overlay = OverlayBytes(drawn, recorded, used, *limits->second);
    return again;
  }

  static std::string OverlayBytes(const cv::Mat& drawn,
                                  const store::Row& recorded,
                                  const evidence::Settings& used,
                                  const Limits& limits) {
    const auto sources = LimitsSourcesOf(limits.path);
    if (!sources.ok()) return "";
    const auto bytes = EncodeJpeg(
        drawn, kOverlayQuality, evidence::EvidenceJson({recorded.record, used, *sources}));
    return bytes.ok() ? *bytes : "";
  }

  void GradeAgain() {
    std::size_t same = 0;
    cli::RunInOrder<Again>(
        rows_.size(),
        options_.threads,
        [&](std::size_t i) { return GradeOne(rows_[i]); },
        [&](std::size_t i, const Again& again) {
          if (Take(rows_[i], again)) ++same;
          return !options_.progress || options_.progress(i + 1, rows_.size());
        });
    for (const auto& [program, count] : by_other_program_) {
      report_.notes.push_back(std::to_string(count) + " records were written by " +
                              PrintableText(program) + "; this is " + ProgramOfThis() +
                              ", and makes the same of them but for its name");
    }
    report_.notes.push_back(std::to_string(same) + " of " + std::to_string(rows_.size()) +
                            " photographs graded again with the recorded limits and settings got "
                            "the recorded verdict");
  }

  // Whether the verdict is the recorded one.
  bool Take(const store::Row& recorded, const Again& again) {
    if (!again.row) {
      report_.differences.push_back(PrintableText(recorded.path) +
                                    " cannot be graded again: " + again.why_not);
      return false;
    }
    const auto comparison = CompareRecords(recorded.record, again.row->record);
    if (!comparison.ok()) {
      Problem(recorded.path + ": the record " + comparison.error().what);
      return false;
    }
    const std::string overlay = job::OverlayOf(recorded.path);
    if (!again.overlay.empty() && comparison->same_bytes) {
      const auto kept = read::ReadFileBytes(job_ / overlay, kMostFileBytes);
      if (kept.ok() && *kept != again.overlay) {
        Problem(overlay + " is not what this program draws of that photograph and grade");
      }
    }
    if (comparison->same_bytes) return true;
    if (comparison->same_but_program) {
      ++by_other_program_[recorded.program];
      return true;
    }
    std::string words = PrintableText(recorded.path) + ": ";
    for (const std::string& difference : comparison->differences) {
      words += (words.ends_with(": ") ? "" : "; ") + difference;
    }
    if (comparison->same_program) {
      // The same program makes the same record of the same picture, always.
      Problem(words + "; the record was written by something else, or with other libraries");
    } else if (comparison->same_verdict) {
      report_.notes.push_back(words);
    } else {
      report_.differences.push_back(words);
    }
    return comparison->same_verdict;
  }

  fs::path job_;
  const JobOptions& options_;
  Report report_;
  std::optional<job::Manifest> manifest_;
  std::unique_ptr<store::Store> store_;
  std::vector<job::Entry> log_;
  std::vector<store::RunEntry> runs_;
  std::vector<store::Row> rows_;
  std::vector<std::string> heads_;                       // of the photographs' chain after each row
  std::set<std::string> sound_;                          // files that have their recorded hash
  std::map<std::string, std::optional<Limits>> limits_;  // by hash
  std::map<std::string, std::shared_ptr<const CameraProfile>> cameras_;
  std::map<std::string, int> by_other_program_;  // records that are the same but for that
};

}  // namespace

Result<Report> VerifyJob(const fs::path& job, const JobOptions& options) {
  return JobVerifier(job, options).Run();
}

}  // namespace endgrade::verify

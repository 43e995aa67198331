#include "job/folder.h"

#include "endgrade/present.h"
#include "job/kept.h"
#include "job/status.h"
#include "limits/sources.h"
#include "read/file_bytes.h"
#include "store/chain.h"

#include <set>
#include <system_error>

namespace endgrade::job {
namespace fs = std::filesystem;
namespace {

constexpr std::int64_t kMostProfileBytes = 16 << 20;

Error Refusal(ErrorKind kind, const fs::path& file, std::string what, std::string remedy) {
  return {kind, file.string(), 0, std::move(what), std::move(remedy)};
}

// What may be in a folder that a job is made in.
std::optional<Error> NotEmpty(const fs::path& job, bool with_job_file) {
  std::error_code ignored;
  if (fs::exists(job / kStoreFile, ignored)) {
    return Refusal(
        ErrorKind::kBadOption, job, "is a job already", "Add to it, or name another folder");
  }
  const Found found = FilesIn(job);
  for (const auto& [path, plain] : found.files) {
    if (path == kJobFile && !with_job_file) continue;
    if (with_job_file) {
      return Refusal(ErrorKind::kBadOption,
                     job,
                     "is not empty: there is " + path,
                     "Name a new folder, or take out what is in it");
    }
  }
  return std::nullopt;
}

std::optional<Error> MakeFolders(const fs::path& folder) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (!error) return std::nullopt;
  return Refusal(ErrorKind::kWriteFailed,
                 folder,
                 "cannot be made: " + error.message(),
                 "Name a folder that you may write to");
}

// The first of a plan's mistakes, and how many more there are.
Error FirstOf(const std::vector<Error>& errors) {
  Error first = errors.front();
  if (errors.size() == 1) return first;
  if (!first.remedy.empty()) first.remedy += ". ";
  first.remedy += "There are " + std::to_string(errors.size() - 1) + " more mistakes in this file";
  return first;
}

// Where the chains stood when the manifest was written must still be in them.
std::optional<Error> ChainProblem(const store::Store& store, const Manifest& manifest) {
  const auto missing = [&] {
    return Refusal(ErrorKind::kCorrupt,
                   store.path(),
                   "is not the store that the manifest was written with",
                   "See what differs with `endgrade verify`, and bring back a copy of the job");
  };
  if (manifest.num_photographs > store.Count()) return missing();
  if (manifest.num_photographs > 0) {
    const auto row = store.At(manifest.num_photographs);
    if (!row.ok() || row->chain != manifest.head) return missing();
  }
  const auto runs = store.Runs();
  if (!runs.ok()) return runs.error();
  const auto count = static_cast<std::size_t>(manifest.num_entries);
  if (count > runs->size() || (count > 0 && (*runs)[count - 1].chain != manifest.log_head)) {
    return missing();
  }
  return std::nullopt;
}

}  // namespace

std::optional<Error> LinkProblem(const fs::path& job, const fs::path& relative) {
  fs::path place = job;
  for (const fs::path& part : relative) {
    if (part == ".." || relative.is_absolute()) {
      return Refusal(ErrorKind::kBadOption, relative, "leads out of the job's folder", "");
    }
    place /= part;
    std::error_code ignored;
    if (fs::is_symlink(fs::symlink_status(place, ignored))) {
      return Refusal(ErrorKind::kBadOption,
                     place,
                     "is a link; a job holds its files itself, so that it can be copied",
                     "Put the file or folder itself in its place");
    }
  }
  return std::nullopt;
}

Result<Folder> Folder::Make(const fs::path& job, const std::string& job_file) {
  if (auto problem = NotEmpty(job, !job_file.empty())) return *problem;
  if (auto error = MakeFolders(job)) return *error;
  Folder folder;
  folder.path_ = job;
  if (!job_file.empty()) {
    if (auto error = WriteFileSafely(job / kJobFile, job_file)) return *error;
  }
  auto check = ReadPlan(job);
  if (!check.plan) {
    std::error_code ignored;
    if (!job_file.empty()) fs::remove(job / kJobFile, ignored);  // ours, and of no use
    return FirstOf(check.errors);
  }
  folder.plan_ = std::move(*check.plan);
  auto store = store::Store::OpenToAppend(job / kStoreFile);
  if (!store.ok()) return store.error();
  folder.store_ = std::make_unique<store::Store>(std::move(*store));
  if (auto error = folder.ListUsersFiles()) return *error;
  if (auto error = folder.KeepSettings()) return *error;
  if (auto error = folder.Log(NewEvent(folder.job_file_sha256_))) return *error;
  return folder;
}

Result<Folder> Folder::Open(const fs::path& job) {
  auto check = ReadPlan(job);
  if (!check.plan) return FirstOf(check.errors);
  std::error_code ignored;
  if (!fs::is_regular_file(job / kStoreFile, ignored)) {
    return Refusal(ErrorKind::kNotFound,
                   job,
                   "there is a job file, but no store yet",
                   "Make the job with `endgrade job new " + job.string() + "`");
  }
  Folder folder;
  folder.path_ = job;
  folder.plan_ = std::move(*check.plan);
  auto store = store::Store::OpenToAppend(job / kStoreFile);
  if (!store.ok()) return store.error();
  folder.store_ = std::make_unique<store::Store>(std::move(*store));
  if (auto error = folder.ReadManifest()) return *error;
  if (auto error = folder.PutInOrder()) return *error;
  return folder;
}

std::optional<Error> Folder::ReadManifest() {
  const fs::path file = path_ / kManifestFile;
  std::error_code ignored;
  if (!fs::exists(file, ignored) && store_->Count() == 0) return std::nullopt;  // `new` was killed
  constexpr std::int64_t kMostManifestBytes = 256 << 20;
  const auto text = read::ReadNamedFileBytes(file, kMostManifestBytes);
  if (!text.ok()) return text.error();
  auto manifest = Manifest::Parse(*text);
  if (!manifest.ok()) {
    Error error = manifest.error();
    error.file = file.string();
    return error;
  }
  manifest_ = std::move(*manifest);
  return ChainProblem(*store_, manifest_);
}

std::optional<Error> Folder::PutInOrder() {
  const Found found = FilesIn(path_);
  std::error_code ignored;
  for (const auto& [path, plain] : found.files) {
    if (plain && IsPartial(path)) fs::remove(path_ / path, ignored);
  }
  // What the store and its log speak of, and the manifest does not yet.
  std::set<std::string> known;
  std::optional<Error> error =
      store_->ForEach({}, store::RowParts::kNoRecord, [&](const store::Row& row) {
        known.insert(row.path);
        known.insert(OverlayOf(row.path));
        return true;
      });
  if (error) return error;
  const auto log = ReadLog(*store_);
  if (!log.ok()) return log.error();
  for (const Entry& entry : *log) known.insert(entry.attachment.file);
  for (const auto& [path, plain] : found.files) {
    const bool is_kept = path.starts_with("limits/") || path.starts_with("cameras/");
    if (!plain || manifest_.files.contains(path) || !(is_kept || known.contains(path))) continue;
    if ((error = List(path))) return error;
  }
  return ListUsersFiles();
}

// Job file, limits and camera of the user's own are theirs to change: what was used stays kept by
// its hash, and each entry of the log names the job file in force.
std::optional<Error> Folder::ListUsersFiles() {
  if (auto error = List(kJobFile)) return error;
  job_file_sha256_ = manifest_.files.at(kJobFile).sha256;
  const auto list = [&](const fs::path& file) -> std::optional<Error> {
    std::error_code ignored;
    const fs::path home = fs::weakly_canonical(path_, ignored);
    const std::string relative = file.lexically_relative(home).generic_string();
    if (relative.empty() || relative.starts_with("..")) return std::nullopt;  // shipped limits
    return List(relative);
  };
  for (const auto& [kind, limits] : plan_.settings.limits) {
    const auto sources = LimitsSourcesOf(limits.path);
    if (!sources.ok()) return sources.error();
    for (const LimitsSource& source : *sources) {
      const fs::path file = limits.path.parent_path() / source.name;
      std::error_code ignored;
      if (!fs::exists(file, ignored)) continue;  // a shipped parent
      if (auto error = list(file)) return error;
    }
  }
  return plan_.camera_profile.empty() ? std::nullopt : list(plan_.camera_profile);
}

std::optional<Error> Folder::KeepSettings() {
  for (const auto& [kind, limits] : plan_.settings.limits) {
    const fs::path folder = LimitsFolderOf(limits.sha256);
    if (KeptLimits(path_, limits.sha256, limits.id).ok()) continue;
    const auto sources = LimitsSourcesOf(limits.path);
    if (!sources.ok()) return sources.error();
    for (const LimitsSource& source : *sources) {
      if (auto error = Write(folder / source.name, source.text)) return error;
    }
  }
  const auto& camera = plan_.settings.options.camera;
  if (!camera || KeptCamera(path_, camera->sha256).ok()) return std::nullopt;
  const auto bytes = read::ReadNamedFileBytes(plan_.camera_profile, kMostProfileBytes);
  if (!bytes.ok()) return bytes.error();
  return Write(CameraFileOf(camera->sha256), *bytes);
}

bool Folder::IsListedAs(const std::string& relative, const std::string& sha256) const {
  const auto found = manifest_.files.find(relative);
  return found != manifest_.files.end() && found->second.sha256 == sha256;
}

std::optional<Error> Folder::Write(const fs::path& relative, const std::string& bytes) {
  if (auto problem = LinkProblem(path_, relative)) return problem;
  const fs::path file = path_ / relative;
  if (auto error = MakeFolders(file.parent_path())) return error;
  if (auto error = WriteFileSafely(file, bytes)) return error;
  return List(relative.generic_string());
}

void Folder::Forget(const std::string& relative) {
  std::error_code ignored;
  fs::remove(path_ / relative, ignored);
  manifest_.files.erase(relative);
}

std::optional<Error> Folder::List(const std::string& relative) {
  auto entry = EntryOf(path_ / relative);
  if (!entry.ok()) return entry.error();
  manifest_.files[relative] = std::move(*entry);
  return std::nullopt;
}

std::optional<Error> Folder::Log(const std::string& event) { return store_->LogRun(event); }

std::optional<Error> Folder::Finish() {
  const auto log = ReadLog(*store_);
  if (!log.ok()) return log.error();
  if (log->empty() || log->back().job_file_sha256 != job_file_sha256_) {
    if (auto error = Log(ChangedEvent(job_file_sha256_))) return error;
  }
  if (auto error = store_->Finish()) return error;
  if (auto error = List(kStoreFile)) return error;
  const auto runs = store_->Runs();
  if (!runs.ok()) return runs.error();
  manifest_.num_photographs = store_->Count();
  manifest_.head = store_->Head();
  manifest_.num_entries = static_cast<std::int64_t>(runs->size());
  manifest_.log_head = runs->empty() ? store::ChainStart() : runs->back().chain;
  return WriteFileSafely(path_ / kManifestFile, manifest_.Json());
}

}  // namespace endgrade::job

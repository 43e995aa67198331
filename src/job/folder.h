// A job that is open for writing: one command at a time.
#pragma once

#include "job/log.h"
#include "job/manifest.h"
#include "job/plan.h"
#include "store/store.h"

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

namespace endgrade::job {

// Why a path from the job's folder must not be written to: a link on the way to it. Nothing when
// it may.
[[nodiscard]] std::optional<Error> LinkProblem(const std::filesystem::path& job,
                                               const std::filesystem::path& relative);

class Folder {
 public:
  // A new job in `job`, which must not be there or be empty, or hold nothing but a job file of the
  // user's own. `job_file`: its text; empty: it is there already.
  [[nodiscard]] static Result<Folder> Make(const std::filesystem::path& job,
                                           const std::string& job_file);

  // Takes the store's lock. What an earlier command left half done is put in order: photographs
  // that are in the store are listed, files it was writing are removed. What was changed since it
  // was written stays as it is and stays visible to `verify`.
  //
  //   errors    of the job file, of the store; kCorrupt when the manifest was changed, or speaks of
  //             more than there is
  [[nodiscard]] static Result<Folder> Open(const std::filesystem::path& job);

  // Keeps limits and camera of the plan under their hashes.
  [[nodiscard]] std::optional<Error> KeepSettings();

  // Writes a file of the job, by way of a temporary name, and lists it.
  [[nodiscard]] std::optional<Error> Write(const std::filesystem::path& relative,
                                           const std::string& bytes);
  // Lists a file that another program wrote into the job.
  [[nodiscard]] std::optional<Error> Note(const std::string& relative) { return List(relative); }
  // Takes back a file that was written and turned out not to belong to the job.
  void Forget(const std::string& relative);
  [[nodiscard]] std::optional<Error> Log(const std::string& event);
  // After the last write: store flushed, manifest written. The lock stays until the object goes.
  [[nodiscard]] std::optional<Error> Finish();

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  [[nodiscard]] const Plan& plan() const { return plan_; }
  [[nodiscard]] const std::string& job_file_sha256() const { return job_file_sha256_; }
  [[nodiscard]] store::Store& store() { return *store_; }
  [[nodiscard]] bool IsListedAs(const std::string& relative, const std::string& sha256) const;

 private:
  Folder() = default;
  std::optional<Error> ReadManifest();
  std::optional<Error> PutInOrder();
  std::optional<Error> ListUsersFiles();
  std::optional<Error> List(const std::string& relative);

  std::filesystem::path path_;
  Plan plan_;
  std::string job_file_sha256_;
  std::unique_ptr<store::Store> store_;
  Manifest manifest_;
};

}  // namespace endgrade::job

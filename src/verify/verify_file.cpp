#include "verify/verify_file.h"

#include "core/sha256.h"
#include "endgrade/present.h"
#include "evidence/carried.h"
#include "evidence/evidence.h"
#include "present/encode.h"
#include "present/escape.h"
#include "read/file_bytes.h"
#include "verify/limits_of_text.h"
#include "verify/regrade.h"

#include <nlohmann/json.hpp>

#include <map>

namespace endgrade::verify {
namespace fs = std::filesystem;
namespace {

using Json = nlohmann::ordered_json;

constexpr std::int64_t kMostBytes = 1ll << 30;
constexpr const char* kListSchema = "endgrade.evidence-list/1";

// Pieces of evidence as JSON: one of an overlay, many of a report.
Result<std::vector<std::string>> PiecesOf(const std::string& carried) {
  const Json json = Json::parse(carried, nullptr, false);
  if (!json.is_object() || json.value("schema", "") != kListSchema) return std::vector{carried};
  std::vector<std::string> pieces;
  const auto list = json.find("evidence");
  if (list == json.end() || !list->is_array()) {
    return Error{ErrorKind::kCorrupt, "", 0, "the list of records inside is damaged", ""};
  }
  for (const Json& piece : *list) {
    pieces.push_back(piece.dump(-1, ' ', false, Json::error_handler_t::replace));
  }
  return pieces;
}

struct Claim {  // of a record: of which picture, graded with which limits
  std::string path;
  std::string picture_sha256;
  std::string limits_sha256;
};

Claim ClaimOf(const std::string& record) {
  const Json json = Json::parse(record, nullptr, false);
  const auto text = [&](const char* part, const char* key) -> std::string {
    if (!json.is_object() || !json.contains(part) || !json[part].is_object()) return "";
    const auto value = json[part].find(key);
    return value != json[part].end() && value->is_string() ? value->get<std::string>() : "";
  };
  return {text("image", "path"), text("image", "sha256"), text("limits", "sha256")};
}

class FileVerifier {
 public:
  FileVerifier(const fs::path& file, const FileOptions& options) : file_(file), options_(options) {}

  Result<Report> Run() {
    auto bytes = read::ReadNamedFileBytes(file_, kMostBytes);
    if (!bytes.ok()) return bytes.error();
    bytes_ = std::move(*bytes);
    auto carried = evidence::CarriedText(bytes_, file_.string());
    if (!carried.ok()) {
      if (carried.error().kind != ErrorKind::kCorrupt) return carried.error();
      report_.problems.push_back(carried.error().what);
      return report_;
    }
    carried_ = std::move(*carried);
    report_.notes.push_back("what the file carries inside is whole");
    const auto pieces = PiecesOf(carried_);
    if (!pieces.ok()) return Refused(pieces.error());
    if (auto error = FindPhotographs()) return *error;
    for (const std::string& piece : *pieces) {
      const auto parsed = evidence::ParseEvidence(piece);
      if (!parsed.ok()) return Refused(parsed.error());
      Check(*parsed, pieces->size() == 1);
    }
    return report_;
  }

 private:
  static Error WithFile(Error error, const fs::path& file) {
    error.file = file.string();
    return error;
  }

  Result<Report> Refused(const Error& error) {
    if (error.kind != ErrorKind::kCorrupt) return WithFile(error, file_);
    report_.problems.push_back(error.what);
    return report_;
  }

  std::optional<Error> FindPhotographs() {
    std::vector<fs::path> files;
    for (const fs::path& given : options_.photographs) {
      std::error_code error;
      if (!fs::is_directory(given, error)) {
        files.push_back(given);
        continue;
      }
      fs::recursive_directory_iterator it(given, error);
      for (; !error && it != fs::recursive_directory_iterator(); it.increment(error)) {
        std::error_code unknown;
        if (it->is_regular_file(unknown)) files.push_back(it->path());
      }
      if (error) {
        return Error{ErrorKind::kUnreadable,
                     given.string(),
                     0,
                     "the folder cannot be listed: " + error.message(),
                     "Check its permissions"};
      }
    }
    const bool is_one = options_.photographs.size() == 1 && files.size() == 1;
    for (const fs::path& file : files) {
      const auto bytes = read::ReadNamedFileBytes(file, kMostBytes);
      if (bytes.ok()) {
        photographs_[Sha256Hex(*bytes)] = file;
      } else if (is_one || files.size() == options_.photographs.size()) {
        return bytes.error();  // it was named
      }
    }
    if (is_one) the_one_ = files.front();
    return std::nullopt;
  }

  // The photograph of a record, by its hash; else the one at its recorded path.
  std::optional<fs::path> PhotographOf(const Claim& claim) {
    const auto found = photographs_.find(claim.picture_sha256);
    if (found != photographs_.end()) return found->second;
    if (!options_.photographs.empty()) return the_one_;
    const auto bytes = read::ReadNamedFileBytes(claim.path, kMostBytes);
    if (bytes.ok() && Sha256Hex(*bytes) == claim.picture_sha256) return fs::path(claim.path);
    return std::nullopt;
  }

  void Differs(const std::string& text) { report_.differences.push_back(PrintableText(text)); }

  void Check(const evidence::Evidence& evidence, bool is_overlay) {
    const Claim claim = ClaimOf(evidence.record);
    const std::string of = claim.path + ": ";
    auto limits = LimitsOfText(evidence.limits);
    if (!limits.ok()) return Differs(of + "cannot be graded again: " + limits.error().what);
    if (limits->sha256 != claim.limits_sha256) {
      report_.problems.push_back(
          PrintableText(of + "the limits inside have not the hash in the record"));
      return;
    }
    const auto photograph = PhotographOf(claim);
    if (!photograph) {
      return Differs(of + "its photograph (SHA-256 " + claim.picture_sha256 +
                     ") is not there; give it, or a folder that holds it, with --photograph");
    }
    Regrade(evidence, claim, *limits, *photograph, is_overlay);
  }

  void Regrade(const evidence::Evidence& evidence,
               const Claim& claim,
               const Limits& limits,
               const fs::path& photograph,
               bool is_overlay) {
    GradeOptions grading;
    evidence::Apply(evidence.settings, &grading);
    grading.read.colour = true;
    if (!evidence.settings.camera_sha256.empty() && !UseCamera(evidence, claim, &grading)) return;
    auto bytes = read::ReadNamedFileBytes(photograph, grading.read.max_file_bytes);
    if (!bytes.ok()) return Differs(bytes.error().Text());
    const auto frame = DecodeFrame(*bytes, claim.path, grading.read);
    if (!frame.ok()) return Differs(photograph.string() + ": " + frame.error().what);
    const auto grade = GradeFrame(*frame, limits, grading);
    if (!grade.ok()) return Differs(photograph.string() + ": " + grade.error().what);
    const auto comparison = CompareRecords(evidence.record, RecordJson(*frame, limits, *grade));
    if (!comparison.ok()) {
      report_.problems.push_back("the record " + comparison.error().what);
      return;
    }
    Tell(claim, photograph, *comparison, frame->sha256 == claim.picture_sha256);
    if (is_overlay && comparison->same_bytes) CheckDrawing(*frame, limits, *grade);
  }

  bool UseCamera(const evidence::Evidence& evidence, const Claim& claim, GradeOptions* grading) {
    const std::string& wanted = evidence.settings.camera_sha256;
    if (options_.camera.empty()) {
      Differs(claim.path + ": was graded with a camera's profile (SHA-256 " + wanted +
              "); give it with --camera");
      return false;
    }
    auto profile = ReadCameraProfile(options_.camera);
    if (!profile.ok()) {
      Differs(profile.error().Text());
      return false;
    }
    if (profile->sha256 != wanted) {
      Differs(options_.camera.string() + ": another camera profile than the recorded one");
      return false;
    }
    grading->camera = std::make_shared<const CameraProfile>(std::move(*profile));
    return true;
  }

  void Tell(const Claim& claim,
            const fs::path& photograph,
            const Comparison& comparison,
            bool same_picture) {
    if (comparison.same_bytes) {
      report_.notes.push_back(PrintableText(claim.path) + ": the same record, graded again from " +
                              PrintableText(photograph.string()));
      return;
    }
    std::string words = PrintableText(claim.path) + ": ";
    for (const std::string& difference : comparison.differences) {
      words += (words.ends_with(": ") ? "" : "; ") + difference;
    }
    if (!same_picture) {
      report_.problems.push_back(words + "; " + PrintableText(photograph.string()) +
                                 " is not the photograph of this record");
    } else if (comparison.same_program) {
      report_.problems.push_back(words +
                                 "; the record was written by something else, or with other "
                                 "libraries");
    } else if (comparison.same_verdict) {
      report_.notes.push_back(words);
    } else {
      report_.differences.push_back(words);
    }
  }

  void CheckDrawing(const Frame& frame, const Limits& limits, const Grade& grade) {
    const bool is_png = bytes_.starts_with("\x89PNG");
    const bool is_jpeg = bytes_.starts_with("\xFF\xD8");
    if (!is_png && !is_jpeg) return;
    const auto drawn = EncodePicture(
        is_png ? "again.png" : "again.jpg", DrawOverlay(frame, limits, grade), carried_);
    if (drawn.ok() && *drawn == bytes_) {
      report_.notes.push_back(
          "the picture is, byte for byte, what this program draws of that grade");
    } else {
      report_.problems.push_back(
          "the picture is not what this program draws of that grade: it was changed, or saved "
          "anew");
    }
  }

  fs::path file_;
  const FileOptions& options_;
  Report report_;
  std::string bytes_;
  std::string carried_;
  std::map<std::string, fs::path> photographs_;  // by hash
  std::optional<fs::path> the_one_;              // that was named alone
};

}  // namespace

Result<Report> VerifyFile(const fs::path& file, const FileOptions& options) {
  return FileVerifier(file, options).Run();
}

}  // namespace endgrade::verify

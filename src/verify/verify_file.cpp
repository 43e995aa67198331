#include "verify/verify_file.h"

#include "core/sha256.h"
#include "endgrade/present.h"
#include "endgrade/version.h"
#include "evidence/carried.h"
#include "evidence/evidence.h"
#include "lot/grade_photograph.h"
#include "present/encode.h"
#include "present/escape.h"
#include "present/words.h"
#include "read/file_bytes.h"
#include "verify/limits_of_text.h"
#include "verify/recompare.h"
#include "verify/regrade.h"

#include <nlohmann/json.hpp>

#include <map>
#include <memory>

namespace endgrade::verify {
namespace fs = std::filesystem;
namespace {

using Json = nlohmann::ordered_json;

constexpr std::int64_t kMostBytes = 1ll << 30;

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
    const auto parsed = evidence::ParseCarried(carried_);
    if (!parsed.ok()) return Refused(parsed.error());
    if (auto error = FindPhotographs()) return *error;
    is_list_ = parsed->is_list;
    keep_frames_ = !parsed->comparison.empty();
    for (const evidence::Evidence& piece : parsed->evidence) Check(piece, !parsed->is_list);
    for (const evidence::BriefEvidence& piece : parsed->brief) CheckBrief(*parsed, piece);
    if (keep_frames_) CheckComparison(*parsed);
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
    // Named alone it is held against an overlay whatever its hash; against a list, only by it.
    if (!options_.photographs.empty()) return is_list_ ? std::nullopt : the_one_;
    const auto bytes = read::ReadNamedFileBytes(claim.path, kMostBytes);
    if (bytes.ok() && Sha256Hex(*bytes) == claim.picture_sha256) return fs::path(claim.path);
    return std::nullopt;
  }

  void Differs(const std::string& text) { report_.differences.push_back(PrintableText(text)); }

  // The limits inside, where they have the hash that the record gives.
  std::optional<Limits> LimitsOf(const std::vector<LimitsSource>& sources, const Claim& claim) {
    const std::string of = claim.path + ": ";
    auto limits = LimitsOfText(sources);
    if (!limits.ok()) {
      Differs(of + "cannot be graded again: " + limits.error().what);
      return std::nullopt;
    }
    if (limits->sha256 != claim.limits_sha256) {
      report_.problems.push_back(
          PrintableText(of + "the limits inside have not the hash in the record"));
      return std::nullopt;
    }
    return std::move(*limits);
  }

  std::optional<fs::path> NamedPhotographOf(const Claim& claim) {
    auto photograph = PhotographOf(claim);
    if (!photograph) {
      Differs(claim.path + ": its photograph (SHA-256 " + claim.picture_sha256 +
              ") is not there; give it, or a folder that holds it, with --photograph");
    }
    return photograph;
  }

  void Check(const evidence::Evidence& evidence, bool is_overlay) {
    const Claim claim = ClaimOf(evidence.record);
    const auto limits = LimitsOf(evidence.limits, claim);
    if (!limits) return;
    const auto photograph = NamedPhotographOf(claim);
    if (!photograph) return;
    const auto again = GradeAgain(evidence.settings, claim, *limits, *photograph);
    if (!again) return;
    const auto comparison =
        CompareRecords(evidence.record, RecordJson(again->frame, *limits, again->grade));
    if (!comparison.ok()) {
      report_.problems.push_back("the record " + comparison.error().what);
      return;
    }
    Tell(claim, *photograph, *comparison, again->frame.sha256 == claim.picture_sha256);
    if (!comparison->same_bytes) return;
    if (is_overlay) CheckDrawing(again->frame, *limits, again->grade);
    if (keep_frames_) frames_.push_back(again->frame);
  }

  // A photograph whose record is not inside, but the record's hash is.
  void CheckBrief(const evidence::Carried& carried, const evidence::BriefEvidence& brief) {
    const Claim claim{brief.path, brief.picture_sha256, brief.limits_sha256};
    const auto sources = carried.limits.find(brief.limits_sha256);
    if (sources == carried.limits.end() || !carried.settings) {
      return Differs(claim.path + ": cannot be graded again: its limits are not inside");
    }
    const auto limits = LimitsOf(sources->second, claim);
    if (!limits) return;
    const auto photograph = NamedPhotographOf(claim);
    if (!photograph) return;
    auto again = GradeAgain(*carried.settings, claim, *limits, *photograph);
    if (!again) return;
    lot::ForgetTimes(&again->grade.times);
    Comparison comparison;
    comparison.same_program = brief.program == "endgrade " + Version() + " (" + Build() + ")";
    comparison.same_verdict = brief.verdict == RecordWord(again->grade.verdict);
    comparison.same_bytes =
        Sha256Hex(RecordJson(again->frame, *limits, again->grade)) == brief.record_sha256;
    if (!comparison.same_program) {
      comparison.differences.push_back("program: recorded by " + brief.program);
    }
    comparison.differences.push_back(comparison.same_verdict
                                         ? "the verdict is the same, the record has another hash"
                                         : "verdict: " + brief.verdict + ", now " +
                                               RecordWord(again->grade.verdict));
    Tell(claim, *photograph, comparison, again->frame.sha256 == claim.picture_sha256);
  }

  void CheckComparison(const evidence::Carried& carried) {
    if (frames_.size() != carried.evidence.size() || frames_.size() < 2) {
      return Differs(
          "what became of each thing was not worked out again, for want of the same "
          "record of every photograph");
    }
    const auto limits = LimitsOfText(carried.evidence.front().limits);
    if (!limits.ok()) return Differs(limits.error().what);
    GradeOptions grading;
    evidence::Apply(carried.evidence.front().settings, &grading);
    grading.camera = camera_;
    CompareAgain({carried, carried_, bytes_}, frames_, *limits, grading, &report_);
  }

  struct Again {
    Frame frame;
    Grade grade;
  };

  std::optional<Again> GradeAgain(const evidence::Settings& settings,
                                  const Claim& claim,
                                  const Limits& limits,
                                  const fs::path& photograph) {
    GradeOptions grading;
    evidence::Apply(settings, &grading);
    grading.read.colour = true;
    if (!settings.camera_sha256.empty() && !UseCamera(settings, claim, &grading)) {
      return std::nullopt;
    }
    auto bytes = read::ReadNamedFileBytes(photograph, grading.read.max_file_bytes);
    if (!bytes.ok()) {
      Differs(bytes.error().Text());
      return std::nullopt;
    }
    auto frame = DecodeFrame(*bytes, claim.path, grading.read);
    if (!frame.ok()) {
      Differs(photograph.string() + ": " + frame.error().what);
      return std::nullopt;
    }
    auto grade = GradeFrame(*frame, limits, grading);
    if (!grade.ok()) {
      Differs(photograph.string() + ": " + grade.error().what);
      return std::nullopt;
    }
    return Again{std::move(*frame), std::move(*grade)};
  }

  bool UseCamera(const evidence::Settings& settings, const Claim& claim, GradeOptions* grading) {
    const std::string& wanted = settings.camera_sha256;
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
    camera_ = std::make_shared<const CameraProfile>(std::move(*profile));
    grading->camera = camera_;
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
  std::shared_ptr<const CameraProfile> camera_;
  bool is_list_ = false;
  bool keep_frames_ = false;
  std::vector<Frame> frames_;  // of a comparison, in its order
};

}  // namespace

Result<Report> VerifyFile(const fs::path& file, const FileOptions& options) {
  return FileVerifier(file, options).Run();
}

}  // namespace endgrade::verify

#include "lot/grade_photograph.h"

#include "core/sha256.h"
#include "endgrade/present.h"
#include "endgrade/version.h"
#include "lot/taken_at.h"
#include "lot/thumbnail.h"
#include "present/words.h"
#include "read/file_bytes.h"

#include <cmath>
#include <exception>
#include <new>

namespace endgrade::lot {
namespace {

store::Row RowFor(const Settings& settings, const Photograph& photograph) {
  store::Row row;
  row.path = photograph.path;
  row.face = photograph.face;
  row.size_bytes = photograph.size_bytes;
  row.modified_ns = photograph.modified_ns;
  const TakenAt taken = WhenTaken("", photograph.modified_ns);
  row.taken_at = taken.text;
  row.taken_from = taken.from;
  row.limits_id = photograph.limits->id;
  row.limits_sha256 = photograph.limits->sha256;
  row.grade_key = settings.GradeKey(*photograph.limits);
  row.program = "endgrade " + Version() + " (" + Build() + ")";
  return row;
}

void FillUnreadable(const Photograph& photograph, Error error, store::Row* row) {
  error.file = photograph.path;
  row->verdict = "unreadable";
  row->record = UnreadableRecordJson(photograph.path, *photograph.limits, error);
}

// What grading ran into. Want of memory says nothing of the picture: as if it had not been read.
void FillUngraded(const Photograph& photograph, const Error& error, store::Row* row) {
  if (error.kind == ErrorKind::kOutOfMemory) row->sha256.clear();
  FillUnreadable(photograph, error, row);
}

void FillGraded(const Settings& settings,
                const Photograph& photograph,
                const std::string& bytes,
                const Look& look,
                store::Row* row) {
  const auto frame = DecodeFrame(bytes, photograph.path, settings.options.read);
  if (!frame.ok()) return FillUngraded(photograph, frame.error(), row);
  auto grade = GradeFrame(*frame, *photograph.limits, settings.options);
  if (!grade.ok()) return FillUngraded(photograph, grade.error(), row);
  ForgetTimes(&grade->times);
  row->verdict = RecordWord(grade->verdict);
  row->marginal = grade->marginal;
  row->record = RecordJson(*frame, *photograph.limits, *grade);
  Thumbnail thumbnail = MakeThumbnail(frame->luma, frame->white_level, *grade);
  row->thumbnail = std::move(thumbnail.jpeg);
  row->thumbnail_um = thumbnail.width_um;
  if (look) look(*frame, *grade);
}

std::optional<store::Row> GradeFile(const Settings& settings,
                                    const Photograph& photograph,
                                    const Shard& shard,
                                    const Look& look,
                                    store::Row row) {
  const auto bytes = read::ReadFileBytes(photograph.file, settings.options.read.max_file_bytes);
  // What cannot be read has no content to go by: its name decides.
  const std::string digest = Sha256Hex(bytes.ok() ? *bytes : photograph.path);
  if (!IsOfShard(digest, shard)) return std::nullopt;
  if (bytes.ok()) {
    const TakenAt taken = WhenTaken(*bytes, photograph.modified_ns);
    row.taken_at = taken.text;
    row.taken_from = taken.from;
    row.sha256 = digest;
    FillGraded(settings, photograph, *bytes, look, &row);
  } else {
    FillUnreadable(photograph, bytes.error(), &row);
  }
  return row;
}

}  // namespace

void ForgetTimes(StepTimes* times) {
  const double none = std::nan("");
  *times = {none, none, none, none, none, none, none, none};
}

bool IsOfShard(const std::string& sha256, const Shard& shard) {
  constexpr std::size_t kDigits = 8;
  const unsigned long number = std::stoul(sha256.substr(0, kDigits), nullptr, 16);
  return number % static_cast<unsigned long>(shard.count) ==
         static_cast<unsigned long>(shard.index - 1);
}

std::optional<store::Row> GradePhotograph(const Settings& settings,
                                          const Photograph& photograph,
                                          const Shard& shard,
                                          const Look& look) {
  store::Row row = RowFor(settings, photograph);
  try {
    return GradeFile(settings, photograph, shard, look, row);
  } catch (const std::bad_alloc&) {
    FillUnreadable(photograph,
                   {ErrorKind::kOutOfMemory,
                    "",
                    0,
                    "not enough memory for this picture",
                    "Close other programs, or lower --threads"},
                   &row);
  } catch (const std::exception& e) {
    FillUnreadable(photograph,
                   {ErrorKind::kInternal,
                    "",
                    0,
                    "a library beneath us refused: " + std::string(e.what()),
                    "Please report this with the picture"},
                   &row);
  }
  return row;
}

}  // namespace endgrade::lot

#include "lot/taken_at.h"

#include <libexif/exif-data.h>
#include <limits>
#include <memory>
#include <optional>

namespace endgrade::lot {
namespace {

struct Unref {
  void operator()(ExifData* data) const { exif_data_unref(data); }
};

// "YYYY:MM:DD HH:MM:SS" (EXIF 2.3, 4.6.4) as ISO 8601; nothing where it makes no sense.
std::optional<std::string> IsoOf(std::string_view text) {
  constexpr std::string_view kShape = "0000:00:00 00:00:00";
  if (text.size() < kShape.size()) return std::nullopt;
  for (std::size_t i = 0; i < kShape.size(); ++i) {
    const bool digit = text[i] >= '0' && text[i] <= '9';
    if (kShape[i] == '0' ? !digit : text[i] != kShape[i]) return std::nullopt;
  }
  std::string iso(text.substr(0, kShape.size()));
  const auto number = [&](std::size_t at) { return (iso[at] - '0') * 10 + (iso[at + 1] - '0'); };
  const int month = number(5);
  const int day = number(8);
  if (month < 1 || month > 12 || day < 1 || day > 31) return std::nullopt;
  if (number(11) > 23 || number(14) > 59 || number(17) > 60) return std::nullopt;
  iso[4] = iso[7] = '-';
  iso[10] = 'T';
  return iso;
}

std::optional<std::string> Entry(const ExifData& data, ExifIfd ifd, ExifTag tag) {
  const ExifEntry* entry = exif_content_get_entry(data.ifd[ifd], tag);
  if (entry == nullptr || entry->format != EXIF_FORMAT_ASCII || entry->data == nullptr) {
    return std::nullopt;
  }
  return IsoOf({reinterpret_cast<const char*>(entry->data), entry->size});
}

std::optional<std::string> FromExif(std::string_view bytes) {
  constexpr std::string_view kJpegStart = "\xFF\xD8";
  if (!bytes.starts_with(kJpegStart) || bytes.size() > std::numeric_limits<unsigned>::max()) {
    return std::nullopt;
  }
  const std::unique_ptr<ExifData, Unref> data(exif_data_new_from_data(
      reinterpret_cast<const unsigned char*>(bytes.data()), static_cast<unsigned>(bytes.size())));
  if (!data) return std::nullopt;
  if (auto taken = Entry(*data, EXIF_IFD_EXIF, EXIF_TAG_DATE_TIME_ORIGINAL)) return taken;
  return Entry(*data, EXIF_IFD_0, EXIF_TAG_DATE_TIME);
}

}  // namespace

std::int64_t NanosecondsOf(const std::timespec& time) {
  using Range = std::numeric_limits<std::int64_t>;
  constexpr std::int64_t kSecond = 1'000'000'000;
  if (time.tv_sec >= Range::max() / kSecond) return Range::max();
  if (time.tv_sec <= Range::min() / kSecond) return Range::min();
  return time.tv_sec * kSecond + time.tv_nsec;
}

TakenAt WhenTaken(std::string_view bytes, std::int64_t modified_ns) {
  if (auto text = FromExif(bytes)) return {*text, "exif"};
  const std::time_t seconds = modified_ns / 1'000'000'000;
  std::tm parts{};
  gmtime_r(&seconds, &parts);
  char text[32];
  std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%S", &parts);
  return {text, "file"};
}

}  // namespace endgrade::lot

// When a photograph was taken.
#pragma once

#include <cstdint>
#include <ctime>
#include <string>
#include <string_view>

namespace endgrade::lot {

struct TakenAt {
  std::string text;  // "2026-11-25T10:11:12", on the clock of whatever tells it
  std::string from;  // "exif": the camera's clock; "file": when the file was changed last, UTC
};

// A file's time in nanoseconds from 1970 on. Before 1677 and after 2262, which disks may say: the
// nearest that 64 bits hold.
[[nodiscard]] std::int64_t NanosecondsOf(const std::timespec& time);

// EXIF's DateTimeOriginal, else DateTime, of a JPEG; else the file's time.
[[nodiscard]] TakenAt WhenTaken(std::string_view bytes, std::int64_t modified_ns);

}  // namespace endgrade::lot

// What kind of file some bytes are, told by the first of them; names and extensions often lie.
#pragma once

#include <string>
#include <string_view>

namespace endgrade::read {

enum class FileKind { kJpeg, kPng, kTiff, kBmp, kOther };

struct KindOfFile {
  FileKind kind = FileKind::kOther;
  std::string words;  // "JPEG", "a PDF document", ...; empty where nothing is recognised
};

[[nodiscard]] KindOfFile TellKind(std::string_view bytes);

}  // namespace endgrade::read

#include "read/errors.h"

#include <utility>

namespace endgrade::read {

Error Damaged(std::string what) {
  return {ErrorKind::kCorrupt,
          "",
          0,
          std::move(what),
          "Copy it from the camera again, or take the photograph again"};
}

Error CutShort(const std::string& kind) {
  return Damaged("the " + kind + " file is cut short: it ends before its picture does");
}

Error Unsupported(std::string what) {
  return {ErrorKind::kUnsupported,
          "",
          0,
          std::move(what),
          "Export it as JPEG or PNG and give that file"};
}

}  // namespace endgrade::read

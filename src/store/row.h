// One graded photograph as the store keeps it.
#pragma once

#include <cstdint>
#include <string>

namespace endgrade::store {

// What a photograph is of. Text is as the file's name gives it.
struct Face {
  std::string kind;  // connector kind; empty where the lot has one
  std::string cord;
  std::string end;
  std::string port;   // of a rack or station; empty if names do not tell
  std::string rater;  // person or camera, of a study; else empty
  int fibre = 1;
  int attempt = 1;

  [[nodiscard]] bool operator==(const Face&) const = default;
};

struct Row {
  std::int64_t seq = 0;  // 1, 2, ... in the order of grading; given by the store
  std::string path;      // below the lot's folder of photographs
  Face face;
  std::string taken_at;    // "2026-11-25T10:11:12", camera's or file's clock
  std::string taken_from;  // "exif" or "file"
  std::int64_t size_bytes = 0;
  std::int64_t modified_ns = 0;  // of the file, since 1970
  std::string sha256;            // of the picture's bytes; empty: could not be read
  std::string limits_id;
  std::string limits_sha256;
  std::string grade_key;  // of everything but the picture that the grade depends on
  std::string program;    // version and build
  std::string verdict;    // "pass", "fail", "ungradable", "unreadable"
  bool marginal = false;
  std::string record;       // endgrade.result/1, times left out
  std::string thumbnail;    // JPEG of the zones; empty: none
  double thumbnail_um = 0;  // width of the face that it shows; 0: the whole picture, unscaled
  std::string chain;        // SHA-256 of all of this and of the row before; given by the store
};

}  // namespace endgrade::store

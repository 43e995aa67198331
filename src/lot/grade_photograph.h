// One photograph of the lot -> one row of its store.
#pragma once

#include "lot/intake.h"
#include "store/row.h"

#include <functional>
#include <optional>

namespace endgrade::lot {

// Part `index` of `count` of the lot, by content: 1 <= index <= count.
struct Shard {
  int index = 1;
  int count = 1;
};

// The part that a picture belongs to, from the first digits of its SHA-256.
[[nodiscard]] bool IsOfShard(const std::string& sha256, const Shard& shard);

// Times would make two runs differ: records of a lot leave them out, as null.
void ForgetTimes(StepTimes* times);

// Reads the file once: digest, picture and time are of the same bytes. A file that cannot be read
// or graded gets a row too, with verdict "unreadable" and the reason in its record. Never throws.
// The same photograph, settings and build give the same row at any time.
//
//   look      sees the picture and its grade, for whoever wants to draw them; not for one that
//   could
//             not be read
//   returns   nothing for a picture of another shard
using Look = std::function<void(const Frame&, const Grade&)>;
[[nodiscard]] std::optional<store::Row> GradePhotograph(const Settings& settings,
                                                        const Photograph& photograph,
                                                        const Shard& shard = {},
                                                        const Look& look = {});

}  // namespace endgrade::lot

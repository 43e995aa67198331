// Result<T>: a value, or one clear line about bad input. Bad input never throws past a step.
#pragma once

#include <cassert>
#include <string>
#include <utility>
#include <variant>

namespace endgrade {

// What kind of thing went wrong; the command line maps all of them to exit code 2.
enum class ErrorKind {
  kNotFound,     // no such file or folder
  kUnreadable,   // permission, a device, a read that failed half-way
  kUnsupported,  // a kind of file, or of picture, that we do not read
  kCorrupt,      // starts like a picture and is not one to its end
  kTooLarge,     // over a settable bound on pixels or bytes
  kBadLimits,    // a limits file with a mistake
  kBadOption,    // an option outside its stated range
  kWriteFailed,  // disk full, read-only folder
  kOutOfMemory,  // the picture needs more memory than there is
  kInternal,     // a library beneath us refused; ours to look into
};

struct Error {
  ErrorKind kind = ErrorKind::kInternal;
  std::string file;    // the input it is about; empty if none
  int line = 0;        // 1-based line in a text file; 0 if it has none
  std::string what;    // what is wrong, in words
  std::string remedy;  // what to do about it, in words

  // "zones/x.toml:12: expected a number. Write the size in micrometres." on one line.
  [[nodiscard]] std::string Text() const;
};

template <typename T>
class [[nodiscard]] Result {
 public:
  Result(T value) : state_(std::in_place_index<0>, std::move(value)) {}      // NOLINT: implicit
  Result(Error error) : state_(std::in_place_index<1>, std::move(error)) {}  // NOLINT: implicit

  [[nodiscard]] bool ok() const { return state_.index() == 0; }
  explicit operator bool() const { return ok(); }

  [[nodiscard]] const T& value() const& {
    assert(ok());
    return std::get<0>(state_);
  }
  [[nodiscard]] T& value() & {
    assert(ok());
    return std::get<0>(state_);
  }
  [[nodiscard]] T&& value() && {
    assert(ok());
    return std::get<0>(std::move(state_));
  }
  [[nodiscard]] const Error& error() const {
    assert(!ok());
    return std::get<1>(state_);
  }
  const T& operator*() const& { return value(); }
  T& operator*() & { return value(); }
  T&& operator*() && { return std::move(*this).value(); }
  const T* operator->() const { return &value(); }
  T* operator->() { return &value(); }

 private:
  std::variant<T, Error> state_;
};

}  // namespace endgrade

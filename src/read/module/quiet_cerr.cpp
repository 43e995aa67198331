#include "read/module/quiet_cerr.h"

#include <iostream>
#include <streambuf>

namespace endgrade {
namespace {

thread_local bool is_quiet = false;

// Stands before the buffer that std::cerr had. Unbuffered itself, as std::cerr is.
class Gate : public std::streambuf {
 public:
  explicit Gate(std::streambuf* behind) : behind_(behind) {}

 protected:
  int_type overflow(int_type c) override {
    if (is_quiet || traits_type::eq_int_type(c, traits_type::eof())) {
      return traits_type::not_eof(c);
    }
    return behind_->sputc(traits_type::to_char_type(c));
  }
  std::streamsize xsputn(const char* text, std::streamsize count) override {
    return is_quiet ? count : behind_->sputn(text, count);
  }
  int sync() override { return is_quiet ? 0 : behind_->pubsync(); }

 private:
  std::streambuf* behind_;
};

// Never taken away again, nor freed: another thread may be writing through it.
void PutGateInPlace() {
  static const auto* const kGate = [] {
    auto* gate = new Gate(std::cerr.rdbuf());
    std::cerr.rdbuf(gate);
    return gate;
  }();
  static_cast<void>(kGate);
}

}  // namespace

QuietCerr::QuietCerr() {
  PutGateInPlace();
  is_quiet = true;
}

QuietCerr::~QuietCerr() { is_quiet = false; }

}  // namespace endgrade

#include "cli/interrupt.h"

#include <csignal>
#include <cstdio>

namespace endgrade::cli {
namespace {

volatile std::sig_atomic_t noted_signal = 0;

extern "C" void NoteSignal(int signal_number) { noted_signal = signal_number; }

void Handle(int signal_number, void (*handler)(int), int flags) {
  struct sigaction action = {};
  action.sa_handler = handler;
  action.sa_flags = flags;
  sigemptyset(&action.sa_mask);
  struct sigaction before = {};
  sigaction(signal_number, nullptr, &before);
  // A caller that had the signal ignored (nohup, a background job) keeps it ignored.
  if (before.sa_handler != SIG_IGN) sigaction(signal_number, &action, nullptr);
}

}  // namespace

InterruptGuard::InterruptGuard() {
  noted_signal = 0;
  const int once = static_cast<int>(SA_RESETHAND) | SA_RESTART;
  Handle(SIGINT, NoteSignal, once);
  Handle(SIGTERM, NoteSignal, once);
}

InterruptGuard::~InterruptGuard() {
  Handle(SIGINT, SIG_DFL, 0);
  Handle(SIGTERM, SIG_DFL, 0);
}

bool InterruptGuard::Interrupted() const { return noted_signal != 0; }

void InterruptGuard::EndBySignal() const {
  if (noted_signal == 0) return;
  std::fflush(nullptr);
  Handle(noted_signal, SIG_DFL, 0);
  std::raise(noted_signal);
}

}  // namespace endgrade::cli

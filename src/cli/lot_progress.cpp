#include "cli/lot_progress.h"

#include <cmath>
#include <cstdio>
#include <unistd.h>

namespace endgrade::cli {
namespace {

constexpr std::size_t kBarWidth = 24;
constexpr auto kRedraw = std::chrono::milliseconds(100);
constexpr auto kPlainLine = std::chrono::seconds(30);

std::string TimeWords(double seconds) {
  const auto whole = static_cast<long>(std::ceil(seconds));
  if (whole < 100) return std::to_string(whole) + " s";
  if (whole < 6000) return std::to_string((whole + 59) / 60) + " min";
  return std::to_string((whole + 3599) / 3600) + " h";
}

}  // namespace

std::string ProgressWords(std::size_t done, std::size_t all, double seconds, bool with_bar) {
  std::string text;
  const double share = all > 0 ? static_cast<double>(done) / static_cast<double>(all) : 1.0;
  if (with_bar) {
    const auto full = static_cast<std::size_t>(share * kBarWidth);
    text = "[" + std::string(full, '#') + std::string(kBarWidth - full, '-') + "] ";
  }
  text += std::to_string(done) + " of " + std::to_string(all) + ", " +
          std::to_string(static_cast<int>(100 * share)) + " %";
  if (done == 0 || seconds <= 0) return text;
  const double rate = static_cast<double>(done) / seconds;
  char words[32];
  std::snprintf(words, sizeof words, ", %.1f/s", rate);
  text += words;
  if (done < all) text += ", " + TimeWords(static_cast<double>(all - done) / rate) + " left";
  return text;
}

LotProgress::LotProgress()
    : is_terminal_(isatty(STDERR_FILENO) != 0), start_(Clock::now()), last_(start_) {}

void LotProgress::Show(std::size_t done, std::size_t all) {
  const auto now = Clock::now();
  const bool is_end = done == all && (is_terminal_ || has_printed_);
  if (!is_end && now - last_ < (is_terminal_ ? Clock::duration(kRedraw) : kPlainLine)) return;
  last_ = now;
  const double seconds = std::chrono::duration<double>(now - start_).count();
  const std::string words = ProgressWords(done, all, seconds, is_terminal_);
  if (is_terminal_) {
    std::fprintf(stderr, "\r\x1b[K%s", words.c_str());
    is_shown_ = true;
  } else {
    std::fprintf(stderr, "%s\n", words.c_str());
    has_printed_ = true;
  }
  std::fflush(stderr);
}

void LotProgress::Clear() {
  if (is_shown_) std::fputs("\r\x1b[K", stderr);
  is_shown_ = false;
}

}  // namespace endgrade::cli

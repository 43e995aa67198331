// Loaded before the C library (LD_PRELOAD), makes chosen calls of a run fail: for
// tests/faults/faults.py, which has the words.
//
//   ENDGRADE_FAULTS      "malloc:1200,write:3,kill:17": the 1200th allocation gives nothing, the
//                        third write finds the disk full, the process is killed at the 17th step to
//                        do with files; counted from main() on
//   ENDGRADE_CLOCK       "jumps": the time of day jumps by years, back and forth, at each look
//   ENDGRADE_FAULT_LOG   gets a line for each fault that came about, and at the end how many calls
//                        there were of each kind
#include <algorithm>
#include <array>
#include <atomic>
#include <cerrno>
#include <csignal>
#include <cstdarg>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <dlfcn.h>
#include <fcntl.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <unistd.h>

extern "C" {
void* __libc_malloc(std::size_t);
void* __libc_calloc(std::size_t, std::size_t);
void* __libc_realloc(void*, std::size_t);
void* __libc_memalign(std::size_t, std::size_t);
}

namespace {

enum Kind { kMalloc, kRead, kOpen, kWrite, kFlush, kRename, kKill, kKinds };
constexpr std::array<const char*, kKinds> kWords = {
    "malloc", "read", "open", "write", "flush", "rename", "kill"};
constexpr std::size_t kMostFaults = 64;

std::atomic<bool> armed = false;
std::array<std::atomic<std::uint64_t>, kKinds> calls;
std::array<std::array<std::uint64_t, kMostFaults>, kKinds> faults;
std::array<std::size_t, kKinds> num_faults;
int log_descriptor = -1;
bool clock_jumps = false;

// No library call that could come back to us.
void Log(const char* word, std::uint64_t number, const char* end) {
  if (log_descriptor < 0) return;
  std::array<char, 64> line{};
  const int length = std::snprintf(
      line.data(), line.size(), "%s %llu%s\n", word, static_cast<unsigned long long>(number), end);
  static_cast<void>(syscall(SYS_write, log_descriptor, line.data(), length));
}

bool Fails(Kind kind) {
  if (!armed.load(std::memory_order_relaxed)) return false;
  const std::uint64_t number = ++calls[kind];
  const auto* end = faults[kind].data() + num_faults[kind];
  if (std::find(static_cast<const std::uint64_t*>(faults[kind].data()), end, number) == end) {
    return false;
  }
  Log(kWords[kind], number, "");
  return true;
}

// Before each call that changes a file: what is killed here has done all that came before.
void KillPoint() {
  if (Fails(kKill)) syscall(SYS_kill, getpid(), SIGKILL);
}

void ReadFaults(const char* text) {
  while (text != nullptr && *text != '\0') {
    for (std::size_t kind = 0; kind < kKinds; ++kind) {
      const std::size_t length = std::strlen(kWords[kind]);
      if (std::strncmp(text, kWords[kind], length) == 0 && text[length] == ':' &&
          num_faults[kind] < kMostFaults) {
        faults[kind][num_faults[kind]++] = std::strtoull(text + length + 1, nullptr, 10);
      }
    }
    text = std::strchr(text, ',');
    if (text != nullptr) ++text;
  }
}

template <typename Function>
Function* Real(const char* name) {
  return reinterpret_cast<Function*>(dlsym(RTLD_NEXT, name));
}

int (*real_main)(int, char**, char**) = nullptr;

int MainWithFaults(int argc, char** argv, char** environment) {
  ReadFaults(std::getenv("ENDGRADE_FAULTS"));
  if (const char* log = std::getenv("ENDGRADE_FAULT_LOG")) {
    log_descriptor =
        static_cast<int>(syscall(SYS_openat, AT_FDCWD, log, O_WRONLY | O_CREAT | O_APPEND, 0644));
  }
  clock_jumps = std::getenv("ENDGRADE_CLOCK") != nullptr;
  armed = true;
  const int code = real_main(argc, argv, environment);
  armed = false;
  for (std::size_t kind = 0; kind < kKinds; ++kind) Log(kWords[kind], calls[kind], " calls");
  return code;
}

}  // namespace

extern "C" {

int __libc_start_main(int (*main)(int, char**, char**),
                      int argc,
                      char** argv,
                      int (*init)(int, char**, char**),
                      void (*fini)(),
                      void (*rtld_fini)(),
                      void* stack_end) {
  real_main = main;
  return Real<decltype(__libc_start_main)>("__libc_start_main")(
      MainWithFaults, argc, argv, init, fini, rtld_fini, stack_end);
}

void* malloc(std::size_t size) {
  if (Fails(kMalloc)) return errno = ENOMEM, nullptr;
  return __libc_malloc(size);
}
void* calloc(std::size_t count, std::size_t size) {
  if (Fails(kMalloc)) return errno = ENOMEM, nullptr;
  return __libc_calloc(count, size);
}
void* realloc(void* at, std::size_t size) {
  if (Fails(kMalloc)) return errno = ENOMEM, nullptr;
  return __libc_realloc(at, size);
}
int posix_memalign(void** at, std::size_t alignment, std::size_t size) {
  if (Fails(kMalloc)) return ENOMEM;
  *at = __libc_memalign(alignment, size);
  return *at == nullptr ? ENOMEM : 0;
}
void* aligned_alloc(std::size_t alignment, std::size_t size) {
  if (Fails(kMalloc)) return errno = ENOMEM, nullptr;
  return __libc_memalign(alignment, size);
}

ssize_t read(int file, void* to, std::size_t count) {
  static auto* const real = Real<decltype(read)>("read");
  if (Fails(kRead)) return errno = EIO, -1;
  return real(file, to, count);
}
ssize_t pread64(int file, void* to, std::size_t count, off64_t at) {
  static auto* const real = Real<decltype(pread64)>("pread64");
  if (Fails(kRead)) return errno = EIO, -1;
  return real(file, to, count, at);
}

ssize_t write(int file, const void* from, std::size_t count) {
  static auto* const real = Real<decltype(write)>("write");
  KillPoint();
  if (Fails(kWrite)) {
    // A full disk takes some of it first.
    if (count > 1) static_cast<void>(real(file, from, count / 2));
    return errno = ENOSPC, -1;
  }
  return real(file, from, count);
}
ssize_t pwrite64(int file, const void* from, std::size_t count, off64_t at) {
  static auto* const real = Real<decltype(pwrite64)>("pwrite64");
  KillPoint();
  if (Fails(kWrite)) {
    if (count > 1) static_cast<void>(real(file, from, count / 2, at));
    return errno = ENOSPC, -1;
  }
  return real(file, from, count, at);
}

int open64(const char* path, int flags, ...) {
  static auto* const real = Real<int(const char*, int, ...)>("open64");
  va_list more;
  va_start(more, flags);
  const int mode = (flags & O_CREAT) != 0 ? va_arg(more, int) : 0;
  va_end(more);
  if ((flags & O_CREAT) != 0) KillPoint();
  if (Fails(kOpen)) return errno = (flags & O_CREAT) != 0 ? ENOSPC : EACCES, -1;
  return real(path, flags, mode);
}
int open(const char* path, int flags, ...) {
  va_list more;
  va_start(more, flags);
  const int mode = (flags & O_CREAT) != 0 ? va_arg(more, int) : 0;
  va_end(more);
  return open64(path, flags, mode);
}

int fsync(int file) {
  static auto* const real = Real<decltype(fsync)>("fsync");
  KillPoint();
  if (Fails(kFlush)) return errno = EIO, -1;
  return real(file);
}
int fdatasync(int file) {
  static auto* const real = Real<decltype(fdatasync)>("fdatasync");
  KillPoint();
  if (Fails(kFlush)) return errno = EIO, -1;
  return real(file);
}
int rename(const char* from, const char* to) {
  static auto* const real = Real<decltype(rename)>("rename");
  KillPoint();
  if (Fails(kRename)) return errno = EACCES, -1;
  return real(from, to);
}

// By these names a hardened program calls them (_FORTIFY_SOURCE).
ssize_t __read_chk(int file, void* to, std::size_t count, std::size_t) {
  return read(file, to, count);
}
ssize_t __pread64_chk(int file, void* to, std::size_t count, off64_t at, std::size_t) {
  return pread64(file, to, count, at);
}
int __open_2(const char* path, int flags) { return open(path, flags); }
int __open64_2(const char* path, int flags) { return open64(path, flags); }

int clock_gettime(clockid_t which, timespec* time) noexcept {
  const int failed = static_cast<int>(syscall(SYS_clock_gettime, which, time));
  if (failed == 0 && clock_jumps && which == CLOCK_REALTIME) {
    static std::atomic<int> looks = 0;
    constexpr std::array<long, 5> kYears = {-60, 40, 0, -1, 400};
    time->tv_sec += kYears[static_cast<std::size_t>(looks++) % kYears.size()] * 31'556'952L;
  }
  return failed;
}

}  // extern "C"

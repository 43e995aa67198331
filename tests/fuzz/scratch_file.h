// For what reads files and not bytes: the input as a file in memory, alone in a folder of this
// process. libFuzzer's processes end without destructors: scripts/fuzz.sh removes the folders.
#pragma once

#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <unistd.h>

namespace endgrade::fuzz {

inline std::filesystem::path ScratchFolder() {
  static const std::filesystem::path folder = [] {
    const char* base = std::getenv("ENDGRADE_FUZZ_SCRATCH");
    std::filesystem::path path = std::filesystem::path(base ? base : "/dev/shm") /
                                 ("endgrade-fuzz-" + std::to_string(getpid()));
    std::filesystem::create_directories(path);
    return path;
  }();
  return folder;
}

inline std::filesystem::path ScratchFile(const std::uint8_t* bytes,
                                         std::size_t size,
                                         const std::string& name) {
  // What an earlier input left there, a store's journal or lock, is not this one's.
  for (const auto& left : std::filesystem::directory_iterator(ScratchFolder())) {
    std::filesystem::remove_all(left);
  }
  const std::filesystem::path file = ScratchFolder() / name;
  std::ofstream(file, std::ios::binary | std::ios::trunc)
      .write(reinterpret_cast<const char*>(bytes), static_cast<std::streamsize>(size));
  return file;
}

}  // namespace endgrade::fuzz

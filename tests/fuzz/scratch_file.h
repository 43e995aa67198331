// For what reads files and not bytes: the input as a file in memory, under a name of this process.
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
    std::filesystem::path path = "/dev/shm/endgrade-fuzz-" + std::to_string(getpid());
    std::filesystem::create_directories(path);
    return path;
  }();
  return folder;
}

inline std::filesystem::path ScratchFile(const std::uint8_t* bytes,
                                         std::size_t size,
                                         const std::string& name) {
  const std::filesystem::path file = ScratchFolder() / name;
  std::ofstream(file, std::ios::binary | std::ios::trunc)
      .write(reinterpret_cast<const char*>(bytes), static_cast<std::streamsize>(size));
  return file;
}

}  // namespace endgrade::fuzz

#include "read/raster_module.h"

#include "read/errors.h"
#include "read/module/raster_interface.h"

#include <cstdlib>
#include <cstring>
#include <dlfcn.h>
#include <mutex>
#include <new>
#include <system_error>

namespace endgrade::read {
namespace fs = std::filesystem;
namespace {

constexpr const char* kModuleFile = "endgrade_raster.so";

Error CannotLoad(const std::string& why) {
  return {ErrorKind::kUnsupported,
          "",
          0,
          "TIFF and BMP need the module " + std::string(kModuleFile) + ", and " + why,
          "Export the picture as JPEG or PNG, or set ENDGRADE_MODULES to the folder that holds the "
          "module"};
}

std::string LastLoaderMessage() {
  const char* message = dlerror();
  return message == nullptr ? "it cannot be loaded" : message;
}

Result<EndgradeDecodeRaster> LoadFrom(const fs::path& file) {
  // Its symbols stay its own. It is never unloaded: the libraries beneath it do not expect that.
  void* module = dlopen(file.c_str(), RTLD_NOW | RTLD_LOCAL | RTLD_NODELETE);
  if (module == nullptr) return CannotLoad(LastLoaderMessage());
  void* symbol = dlsym(module, ENDGRADE_DECODE_RASTER_NAME);
  if (symbol == nullptr) return CannotLoad(file.string() + " is of another version");
  return reinterpret_cast<EndgradeDecodeRaster>(symbol);
}

Result<EndgradeDecodeRaster> Load() {
  std::string places;
  Error problem = CannotLoad("");
  for (const fs::path& folder : ModuleFolders()) {
    std::error_code ignored;
    places += (places.empty() ? "" : ", ") + folder.string();
    if (!fs::exists(folder / kModuleFile, ignored)) continue;
    auto decode = LoadFrom(folder / kModuleFile);
    if (decode.ok()) return decode;
    problem = decode.error();
    places.clear();
    break;
  }
  return places.empty() ? problem : CannotLoad("it is not in " + places);
}

// Loaded once; after a failure the next picture tries again.
Result<EndgradeDecodeRaster> Module() {
  static std::mutex mutex;
  static EndgradeDecodeRaster loaded = nullptr;
  const std::lock_guard lock(mutex);
  if (loaded != nullptr) return loaded;
  auto decode = Load();
  if (decode.ok()) loaded = *decode;
  return decode;
}

// What `take` is given cannot pass exceptions through C: an empty matrix says there is no memory.
void TakeCopy(void* context, const EndgradeRaster* raster) {
  try {
    const int type = CV_MAKETYPE(raster->bytes_per_sample == 2 ? CV_16U : CV_8U, raster->channels);
    cv::Mat pixels(raster->rows, raster->columns, type);
    for (int y = 0; y < pixels.rows; ++y) {
      std::memcpy(pixels.ptr(y),
                  raster->pixels + static_cast<std::size_t>(y) * raster->step,
                  static_cast<std::size_t>(pixels.cols) * pixels.elemSize());
    }
    *static_cast<cv::Mat*>(context) = pixels;
  } catch (...) {
    static_cast<cv::Mat*>(context)->release();
  }
}

}  // namespace

std::vector<fs::path> ModuleFolders() {
  const char* chosen = std::getenv("ENDGRADE_MODULES");
  if (chosen != nullptr && *chosen != '\0') return {chosen};
  std::vector<fs::path> folders;
  std::error_code error;
  const fs::path program = fs::read_symlink("/proc/self/exe", error);
  if (!error) {
    folders.push_back((program.parent_path() / ENDGRADE_MODULES_FROM_BIN).lexically_normal());
  }
  folders.emplace_back(ENDGRADE_BUILT_MODULES);
  folders.emplace_back(ENDGRADE_INSTALLED_MODULES);
  return folders;
}

Result<cv::Mat> DecodeRaster(std::string_view bytes, const std::string& kind) {
  const auto decode = Module();
  if (!decode.ok()) return decode.error();
  cv::Mat pixels;
  const int outcome = (*decode)(
      reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size(), &pixels, TakeCopy);
  if (outcome == ENDGRADE_RASTER_HIDES_DAMAGE) {
    return Unsupported("TIFF is not read here, as this machine's OpenCV would hide damage in it");
  }
  const bool is_decoded = outcome == ENDGRADE_RASTER_DECODED;
  if (outcome == ENDGRADE_RASTER_NO_MEMORY || (is_decoded && pixels.empty())) {
    throw std::bad_alloc();
  }
  if (!is_decoded) {
    Error error = Damaged("the " + kind + " data cannot be decoded: it is damaged, or a rare kind");
    error.remedy = "Copy it from the camera again, or export it as JPEG or PNG";
    return error;
  }
  return pixels;
}

}  // namespace endgrade::read

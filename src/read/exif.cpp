#include "read/exif.h"

#include <libexif/exif-data.h>
#include <limits>
#include <memory>
#include <new>

namespace endgrade::read {
namespace {

struct Unref {
  void operator()(ExifData* data) const { exif_data_unref(data); }
};

}  // namespace

std::string_view ExifHeader() { return {"Exif\0\0", 6}; }

int ExifOrientation(std::string_view exif) {
  if (!exif.starts_with(ExifHeader()) || exif.size() > std::numeric_limits<unsigned int>::max()) {
    return 1;
  }
  const std::unique_ptr<ExifData, Unref> data(exif_data_new());
  if (!data) throw std::bad_alloc();
  // As it stands in the file: nothing added that the specification says should have been there.
  exif_data_unset_option(data.get(), EXIF_DATA_OPTION_FOLLOW_SPECIFICATION);
  exif_data_set_option(data.get(), EXIF_DATA_OPTION_DONT_CHANGE_MAKER_NOTE);
  exif_data_load_data(data.get(),
                      reinterpret_cast<const unsigned char*>(exif.data()),
                      static_cast<unsigned int>(exif.size()));
  const ExifEntry* entry = exif_content_get_entry(data->ifd[EXIF_IFD_0], EXIF_TAG_ORIENTATION);
  if (entry == nullptr || entry->format != EXIF_FORMAT_SHORT || entry->components < 1 ||
      entry->size < 2) {
    return 1;
  }
  const int orientation = exif_get_short(entry->data, exif_data_get_byte_order(data.get()));
  return orientation >= 1 && orientation <= 8 ? orientation : 1;
}

}  // namespace endgrade::read

// A file name for every picture's overlay: all in one folder, no two alike.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace endgrade::cli {

// `extension`: with its dot. By picture, in order. A name is the picture's without its ending
// ("port-07.png" for "rack-2/port-07.jpg"). Where that would be the name of several, also by case
// alone, all of those get the whole name with their folder before it ("rack-2-port-07.jpg.png"),
// and where that does not tell them apart either, their place among the inputs. The names depend
// on the list of pictures only. Control characters become "_".
[[nodiscard]] std::vector<std::string> OverlayNames(
    const std::vector<std::filesystem::path>& pictures, const std::string& extension);

}  // namespace endgrade::cli

#include "endgrade/result.h"

namespace endgrade {

std::string Error::Text() const {
  std::string text = file;
  if (line > 0) text += ":" + std::to_string(line);
  if (!text.empty()) text += ": ";
  text += what;
  if (!remedy.empty()) text += ". " + remedy;
  if (!text.empty() && text.back() != '.') text += '.';
  return text;
}

}  // namespace endgrade

#include "evidence/carried.h"

#include "core/sha256.h"
#include "evidence/jpeg_comments.h"
#include "evidence/png_text.h"
#include "present/encode.h"

#include <algorithm>
#include <cctype>
#include <vector>

namespace endgrade::evidence {
namespace {

constexpr std::string_view kBlockStart =
    R"(<script type="application/json" id="endgrade-evidence" data-sha256=")";
constexpr std::size_t kDigestDigits = 64;

Error Problem(ErrorKind kind, const std::string& name, std::string what, std::string remedy) {
  return {kind, name, 0, std::move(what), std::move(remedy)};
}

Error NothingInside(const std::string& name) {
  return Problem(ErrorKind::kNotFound,
                 name,
                 "carries no record inside",
                 "Give an overlay or a report as endgrade wrote it: an editor or a messenger that "
                 "saved it anew leaves the record out");
}

Error Changed(const std::string& name, const std::string& what) {
  return Problem(ErrorKind::kCorrupt,
                 name,
                 what + ": the file was changed after it was written",
                 "Bring back a copy, or write it anew from the photographs");
}

// "endgrade.evidence/1 k/n <sha256>\n" and the text behind it, of all comments in turn.
Result<std::string> JoinComments(const std::vector<std::string>& comments,
                                 const std::string& name) {
  std::vector<std::string> ours;
  for (const std::string& comment : comments) {
    if (comment.starts_with(kEvidenceWord)) ours.push_back(comment);
  }
  if (ours.empty()) return NothingInside(name);
  const std::size_t at = ours.front().find('\n');
  if (at == std::string::npos || at < kDigestDigits) return Changed(name, "the record is damaged");
  const std::string sha256 = ours.front().substr(at - kDigestDigits, kDigestDigits);
  std::string text;
  for (std::size_t k = 0; k < ours.size(); ++k) {
    const std::string head = EvidenceHead(k + 1, ours.size(), sha256);
    if (!ours[k].starts_with(head)) return Changed(name, "a part of the record is missing");
    text += ours[k].substr(head.size());
  }
  if (Sha256Hex(text) != sha256) return Changed(name, "the record does not have its digest");
  return text;
}

// Where the block's digest stands in the page.
std::size_t DigestPlace(std::string_view page) {
  const std::size_t start = page.find(kBlockStart);
  if (start == std::string_view::npos) return start;
  const std::size_t place = start + kBlockStart.size();
  return place + kDigestDigits + 2 <= page.size() ? place : std::string_view::npos;
}

Result<std::string> FromHtml(std::string_view bytes, const std::string& name) {
  const std::size_t place = DigestPlace(bytes);
  if (place == std::string_view::npos) return NothingInside(name);
  std::string page(bytes);
  const std::string digest = page.substr(place, kDigestDigits);
  page.replace(place, kDigestDigits, kUnsealed);
  if (Sha256Hex(page) != digest) return Changed(name, "the page does not have its digest");
  const std::size_t start = place + kDigestDigits + 2;  // "> behind the digest
  const std::size_t end = page.find("</script>", start);
  if (end == std::string::npos) return Changed(name, "the record has no end");
  return page.substr(start, end - start);
}

bool LooksLikeHtml(std::string_view bytes) {
  constexpr std::string_view kStart = "<!doctype html";
  return bytes.size() > kStart.size() &&
         std::equal(kStart.begin(), kStart.end(), bytes.begin(), [](char a, char b) {
           return a == static_cast<char>(std::tolower(static_cast<unsigned char>(b)));
         });
}

}  // namespace

Result<std::string> CarriedText(std::string_view bytes, const std::string& name) {
  if (bytes.starts_with("\x89PNG\r\n\x1a\n")) {
    auto text = PngText(bytes, kEvidenceWord);
    if (!text) return Changed(name, "the PNG is damaged");
    return text->empty() ? Result<std::string>(NothingInside(name)) : *text;
  }
  if (bytes.starts_with("\xFF\xD8\xFF")) {
    const auto comments = JpegComments(bytes);
    if (!comments) return Changed(name, "the JPEG is damaged");
    return JoinComments(*comments, name);
  }
  if (LooksLikeHtml(bytes)) return FromHtml(bytes, name);
  return Problem(ErrorKind::kUnsupported,
                 name,
                 "is neither an overlay (PNG, JPEG) nor a report (HTML)",
                 "Give such a file, or a job's folder");
}

std::string HtmlBlock(const std::string& json) {
  std::string block(kBlockStart);
  block += kUnsealed;
  block += "\">";
  for (const char c : json) {
    if (c == '<') {
      block += "\\u003c";  // nothing in it can end the element
    } else {
      block += c;
    }
  }
  return block + "</script>";
}

std::string Seal(std::string page) {
  const std::size_t place = DigestPlace(page);
  if (place == std::string::npos) return page;
  page.replace(place, kDigestDigits, kUnsealed);
  return page.replace(place, kDigestDigits, Sha256Hex(page));
}

}  // namespace endgrade::evidence

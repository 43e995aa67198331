// Where a face is, and the folder that says so.
#pragma once

#include <compare>
#include <filesystem>
#include <optional>
#include <string>

namespace endgrade::job {

// A port of a panel. Site, cabinet and panel may be empty.
struct Address {
  std::string site;
  std::string cabinet;
  std::string panel;
  std::string port;

  [[nodiscard]] auto operator<=>(const Address&) const = default;
  // "Pier hall / C2 / P1 / 01", empty levels left out.
  [[nodiscard]] std::string Words() const;
  // Four folders, one a level, in characters that every file system takes.
  [[nodiscard]] std::filesystem::path Folder() const;
  // Whether a person who writes `text` means this port: its name, or with levels before it
  // ("P1/01", "P1-01", "C2/P1/01"), letters as they are.
  [[nodiscard]] bool IsMeantBy(const std::string& text) const;
};

// One face of a port: a side, and a fibre of it.
struct Face {
  Address address;
  std::string side;
  int fibre = 1;

  [[nodiscard]] auto operator<=>(const Face&) const = default;
  [[nodiscard]] std::string Words() const;  // "... / 01, side A, fibre 2"; fibre 1 is not said
  [[nodiscard]] std::filesystem::path Folder() const;
};

// Latin letters in lower case; all else as it is.
[[nodiscard]] std::string LowerCase(std::string text);

// A level's name as a folder's: letters, digits, dots and hyphens stay, a space becomes "_", all
// else "%XX"; "_" for an empty one. Different names give different folders.
[[nodiscard]] std::string FolderName(const std::string& name);

// Why a name cannot be a level's, in words; nothing when it can. Names differing in capitals only
// are told apart by the caller.
[[nodiscard]] std::optional<std::string> NameProblem(const std::string& name);

}  // namespace endgrade::job

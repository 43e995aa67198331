// The passphrase of a key: from a file, or typed.
#pragma once

#include "endgrade/result.h"
#include "evidence/key.h"

#include <string>

namespace endgrade::cli {

// The first line of `file`. Errors: of reading; kBadOption for an empty line.
[[nodiscard]] Result<std::string> PassphraseOfFile(const std::string& file);

// Typed twice at the terminal, unseen. Errors: kBadOption without a terminal, or when both differ.
[[nodiscard]] Result<std::string> TypeNewPassphrase();

// What opens a locked key: the file's line if a file is given, else what is typed; nothing without
// a terminal.
[[nodiscard]] evidence::AskPassphrase PassphraseFrom(const std::string& file);

}  // namespace endgrade::cli

// The verbs of the command line: one function and one file each. A verb parses, fills options,
// calls the library and prints; what it knows about fibres is nothing.
#pragma once

#include "cli/exit_codes.h"

#include <CLI/CLI.hpp>

namespace endgrade::cli {

// Each adds its verb to `app` with a callback that runs it and sets `*exit_code`. The callback runs
// inside CLI11_PARSE's try block: it may throw CLI::ValidationError for usage that only shows once
// everything is parsed, and nothing else.
void AddGrade(CLI::App& app, int* exit_code);
void AddLimits(CLI::App& app, int* exit_code);
void AddCamera(CLI::App& app, int* exit_code);
void AddCompare(CLI::App& app, int* exit_code);
void AddExplain(CLI::App& app, int* exit_code);
void AddLot(CLI::App& app, int* exit_code);
void AddStudy(CLI::App& app, int* exit_code);
void AddStore(CLI::App& app, int* exit_code);
void AddJob(CLI::App& app, int* exit_code);
void AddVerify(CLI::App& app, int* exit_code);
void AddKey(CLI::App& app, int* exit_code);
void AddRender(CLI::App& app, int* exit_code);

}  // namespace endgrade::cli

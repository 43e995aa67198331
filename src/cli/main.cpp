#include "cli/error_line.h"
#include "cli/verbs.h"
#include "core/memory_reserve.h"
#include "endgrade/version.h"

#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <new>
#include <string>
#include <vector>

namespace {

constexpr const char* kFooter =
    "Example:\n"
    "  endgrade grade --limits sm-upc --out graded photographs/\n\n"
    "Exit codes: 0 all pass, 1 some fail, 2 usage or unreadable input, 3 nothing failed but some\n"
    "cannot be graded.\n\n"
    "Pictures of over 100 megapixels, files of over 256 MB, text files of over 1 MB and folders "
    "of\n"
    "over 1,000,000 pictures are refused ('grade' takes other bounds: --max-megapixels,\n"
    "--max-file-mb). While it is looked at, a picture takes up to 30 bytes of memory a pixel and "
    "100\n"
    "MB besides, for each of --threads: lower them where memory is short.\n\n"
    "Check for optical power before you look at or touch an end face. Grading by image does not\n"
    "replace insertion-loss and return-loss measurement.";

constexpr const char* kNoMemory =
    "stopped: not enough memory. Close other programs, or lower --threads.\n";

// CLI11 takes an argument "[a,b]" for a list of two; as "./[a,b]" it stays the folder that it is.
std::vector<std::string> Arguments(int argc, char** argv) {
  std::vector<std::string> arguments(argv + 1, argv + argc);
  for (std::string& argument : arguments) {
    if (!argument.empty() && argument.front() == '[' && argument.back() == ']') {
      argument.insert(0, "./");
    }
  }
  return {arguments.rbegin(), arguments.rend()};  // CLI11 takes them last first
}

// The verb that was typed last, or the program itself.
const CLI::App& Innermost(const CLI::App& app) {
  const CLI::App* innermost = &app;
  while (!innermost->get_subcommands().empty()) innermost = innermost->get_subcommands().front();
  return *innermost;
}

// CLI11 says only that a subcommand is required, whatever was typed in its place.
int ReportNoVerb(const CLI::App& app) {
  const auto typed = app.remaining(true);
  if (typed.empty()) {
    std::fputs(app.help().c_str(), stderr);
  } else {
    const char* kind = typed.front().starts_with('-') ? "option" : "verb";
    endgrade::cli::PrintErrorLine(std::string("there is no ") + kind + " \"" + typed.front() +
                                  "\"; --help shows those there are.");
  }
  return endgrade::cli::kBadInput;
}

int Run(int argc, char** argv) {
  int exit_code = endgrade::cli::kAllPass;
  CLI::App app{"Grades microscope photographs of fibre connector end faces.", "endgrade"};
  app.set_version_flag("--version", [] {
    return "endgrade " + endgrade::Version() + " (" + endgrade::Build() + ")";
  });
  app.footer(kFooter);
  app.require_subcommand(1);
  endgrade::cli::AddGrade(app, &exit_code);
  endgrade::cli::AddLimits(app, &exit_code);
  endgrade::cli::AddExplain(app, &exit_code);
  endgrade::cli::AddCompare(app, &exit_code);
  endgrade::cli::AddCamera(app, &exit_code);
  endgrade::cli::AddLot(app, &exit_code);
  endgrade::cli::AddStudy(app, &exit_code);
  endgrade::cli::AddStore(app, &exit_code);
  endgrade::cli::AddJob(app, &exit_code);
  endgrade::cli::AddVerify(app, &exit_code);
  endgrade::cli::AddKey(app, &exit_code);
  endgrade::cli::AddRender(app, &exit_code);
  try {
    app.parse(Arguments(argc, argv));
  } catch (const CLI::RequiredError& e) {
    if (Innermost(app).get_require_subcommand_min() > 0) return ReportNoVerb(app);
    app.exit(e);
    return endgrade::cli::kBadInput;
  } catch (const CLI::ParseError& e) {
    return app.exit(e) == 0 ? endgrade::cli::kAllPass : endgrade::cli::kBadInput;
  }
  return exit_code;
}

// Where memory runs out in what cannot fail, this is the end of the run: said as what it is.
[[noreturn]] void End() {
  try {
    if (const auto thrown = std::current_exception()) std::rethrow_exception(thrown);
  } catch (const std::bad_alloc&) {
    std::fputs(kNoMemory, stderr);
    std::_Exit(endgrade::cli::kBadInput);
  } catch (...) {
  }
  std::abort();  // a mistake of ours
}

}  // namespace

int main(int argc, char** argv) {
  std::set_terminate(End);
  endgrade::KeepMemoryReserve();
  // A file over the bound that the shell or the job set is an error of writing, not an end.
  std::signal(SIGXFSZ, SIG_IGN);
  try {
    const int exit_code = Run(argc, argv);
    if (std::fflush(stdout) == 0 && std::ferror(stdout) == 0) return exit_code;
    std::fputs("standard output: cannot be written.\n", stderr);
  } catch (const std::bad_alloc&) {
    std::fputs(kNoMemory, stderr);
  } catch (const std::exception& e) {
    endgrade::cli::PrintErrorLine(std::string("stopped: ") + e.what());
  }
  return endgrade::cli::kBadInput;
}

#include "endgrade/limits.h"

#include "cli/error_line.h"
#include "cli/print.h"
#include "cli/verbs.h"
#include "limits/describe.h"

#include <cstdio>
#include <memory>
#include <string>
#include <vector>

namespace endgrade::cli {
namespace {

int List() {
  const auto list = ListLimits();
  Print(DescribeLimitsList(list));
  const bool all_good =
      std::all_of(list.begin(), list.end(), [](const auto& limits) { return limits.ok(); });
  return all_good && !list.empty() ? kAllPass : kBadInput;
}

int Show(const std::string& id_or_file) {
  const auto limits = FindLimits(id_or_file);
  if (!limits.ok()) {
    PrintErrorLine(limits.error().Text());
    return kBadInput;
  }
  Print(DescribeLimits(*limits));
  return kAllPass;
}

int Check(const std::vector<std::string>& files) {
  int exit_code = kAllPass;
  for (const std::string& file : files) {
    const LimitsCheck check = CheckLimits(file);
    Print(DescribeLimitsCheck(file, check));
    if (!check.errors.empty()) exit_code = kBadInput;
  }
  return exit_code;
}

}  // namespace

void AddLimits(CLI::App& app, int* exit_code) {
  CLI::App* verb = app.add_subcommand("limits", "List, show and check limits");
  verb->require_subcommand(1);
  verb->footer("Example:\n  endgrade limits show sm-upc");

  CLI::App* list = verb->add_subcommand("list", "The limits there are");
  list->footer("Example:\n  endgrade limits list");
  list->callback([exit_code] { *exit_code = List(); });

  auto id_or_file = std::make_shared<std::string>();
  CLI::App* show = verb->add_subcommand("show", "Zones, rules and how sure we are of each");
  show->add_option("LIMITS", *id_or_file, "An ID of 'limits list', or a file")
      ->required()
      ->type_name("ID|FILE");
  show->footer("Example:\n  endgrade limits show sm-upc");
  show->callback([exit_code, id_or_file] { *exit_code = Show(*id_or_file); });

  auto files = std::make_shared<std::vector<std::string>>();
  CLI::App* check = verb->add_subcommand("check", "Check limits files of your own");
  check->add_option("FILE", *files, "Limits files")->required()->type_name("");
  check->footer("Example:\n  endgrade limits check our-house.toml");
  check->callback([exit_code, files] { *exit_code = Check(*files); });
}

}  // namespace endgrade::cli

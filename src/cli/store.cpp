#include "store/store.h"

#include "cli/error_line.h"
#include "cli/print.h"
#include "cli/verbs.h"
#include "endgrade/present.h"
#include "present/escape.h"
#include "store/export.h"
#include "store/merge.h"

#include <cstdio>
#include <memory>

namespace endgrade::cli {
namespace fs = std::filesystem;
namespace {

struct StoreArguments {
  std::string store;
  std::string head;
  std::string format = "csv";
  std::string out;
  bool json = false;
  store::Filter filter;
  std::vector<std::string> parts;
};

int VerifyStore(const StoreArguments& arguments) {
  const auto store = store::Store::OpenToRead(arguments.store);
  if (!store.ok()) return Refuse(store.error());
  const auto verification = store::Verify(*store, arguments.head);
  if (!verification.ok()) return Refuse(verification.error());
  for (const std::string& problem : verification->problems) {
    PrintErrorLine(arguments.store + ": " + problem + ".");
  }
  if (!verification->problems.empty()) return kSomeFail;
  Print("Nothing was edited: " + std::to_string(verification->num_photographs) + " photographs, " +
        std::to_string(verification->num_runs) +
        " entries in the log of runs.\nHead: " + verification->head + "\n");
  return kAllPass;
}

std::optional<Error> ExportTo(const StoreArguments& arguments,
                              const store::Store& store,
                              const store::Sink& sink) {
  return arguments.format == "csv" ? store::ExportCsv(store, arguments.filter, sink)
                                   : store::ExportNdjson(store, arguments.filter, sink);
}

int ExportStore(const StoreArguments& arguments) {
  const auto store = store::Store::OpenToRead(arguments.store);
  if (!store.ok()) return Refuse(store.error());
  std::string text;
  const bool to_file = !arguments.out.empty();
  const auto sink = [&](const std::string& piece) {
    if (to_file) {
      text += piece;
    } else {
      PrintRaw(piece);
    }
    return std::ferror(stdout) == 0;
  };
  if (auto error = ExportTo(arguments, *store, sink)) return Refuse(*error);
  if (to_file) {
    if (auto error = WriteFileSafely(arguments.out, text)) return Refuse(*error);
  }
  return kAllPass;
}

int FindInStore(const StoreArguments& arguments) {
  const auto store = store::Store::OpenToRead(arguments.store);
  if (!store.ok()) return Refuse(store.error());
  std::size_t count = 0;
  const auto print = [&](const std::string& text) {
    Print(text);
    ++count;
    return std::ferror(stdout) == 0;
  };
  const auto error =
      arguments.json
          ? store::ExportNdjson(*store, arguments.filter, print)
          : store->ForEach(arguments.filter, store::RowParts::kNoRecord, [&](const auto& row) {
              return print(store::RowLine(row) + "\n");
            });
  if (error) return Refuse(*error);
  if (count == 0) PrintErrorLine("no photograph in the store matches.");
  return count > 0 ? kAllPass : kSomeFail;
}

int MergeStores(const StoreArguments& arguments) {
  const std::vector<fs::path> parts(arguments.parts.begin(), arguments.parts.end());
  if (auto error = store::Merge(arguments.out, parts)) return Refuse(*error);
  const auto store = store::Store::OpenToRead(arguments.out);
  if (!store.ok()) return Refuse(store.error());
  Print(std::to_string(store->Count()) + " photographs of " + std::to_string(parts.size()) +
        " stores.\nHead: " + store->Head() + "\n");
  return kAllPass;
}

void AddStoreOption(CLI::App* verb, StoreArguments* arguments) {
  verb->add_option("STORE", arguments->store, "A store: lot.sqlite")->required()->type_name("");
}

void AddFilterOptions(CLI::App* verb, StoreArguments* arguments) {
  verb->add_option("--cord", arguments->filter.cord, "Of this cord")->type_name("NAME");
  verb->add_option("--port", arguments->filter.port, "Of this port")->type_name("NAME");
  verb->add_option("--verdict", arguments->filter.verdict, "With this verdict")
      ->type_name("pass|fail|ungradable|unreadable")
      ->check(CLI::IsMember({"pass", "fail", "ungradable", "unreadable"}).description(""));
  verb->add_option("--from", arguments->filter.from, "Taken on this day or later")
      ->type_name("YYYY-MM-DD");
  verb->add_option("--until", arguments->filter.until, "Taken on this day or earlier")
      ->type_name("YYYY-MM-DD");
}

using Arguments = std::shared_ptr<StoreArguments>;

void AddVerify(CLI::App* verb, const Arguments& arguments, int* exit_code) {
  CLI::App* verify = verb->add_subcommand("verify", "Was anything edited after it was written?");
  AddStoreOption(verify, arguments.get());
  verify->add_option("--head", arguments->head, "A head of an earlier day, from a report")
      ->type_name("HASH");
  verify->footer(
      "Example:\n  endgrade store verify delivery-12-graded/lot.sqlite\n\n"
      "Exit codes: 0 nothing was edited, 1 something was, 2 the store cannot be read.");
  verify->callback([=] { *exit_code = VerifyStore(*arguments); });
}

void AddExport(CLI::App* verb, const Arguments& arguments, int* exit_code) {
  CLI::App* write = verb->add_subcommand("export", "Photographs as CSV, or as NDJSON with records");
  AddStoreOption(write, arguments.get());
  write->add_option("--format", arguments->format, "Kind of text [csv]")
      ->type_name("csv|ndjson")
      ->check(CLI::IsMember({"csv", "ndjson"}).description(""));
  write->add_option("--out", arguments->out, "File [standard output]")->type_name("FILE");
  AddFilterOptions(write, arguments.get());
  write->footer("Example:\n  endgrade store export --format ndjson delivery-12-graded/lot.sqlite");
  write->callback([=] { *exit_code = ExportStore(*arguments); });
}

void AddFind(CLI::App* verb, const Arguments& arguments, int* exit_code) {
  CLI::App* find = verb->add_subcommand("find", "Photographs of a cord, a port, a day, a verdict");
  AddStoreOption(find, arguments.get());
  AddFilterOptions(find, arguments.get());
  find->add_flag("--json", arguments->json, "Records, one a line");
  find->footer(
      "Example:\n  endgrade store find --cord cord-0007 delivery-12-graded/lot.sqlite\n\n"
      "Exit codes: 0 found, 1 nothing found, 2 the store cannot be read.");
  find->callback([=] { *exit_code = FindInStore(*arguments); });
}

void AddMerge(CLI::App* verb, const Arguments& arguments, int* exit_code) {
  CLI::App* merge = verb->add_subcommand("merge", "Join the stores of a lot's parts");
  merge->add_option("PART", arguments->parts, "Stores of endgrade lot --shard")
      ->required()
      ->type_name("");
  merge->add_option("--out", arguments->out, "The new store")->required()->type_name("FILE");
  merge->footer(
      "Example:\n"
      "  endgrade store merge --out graded/lot.sqlite graded/lot-1-of-2.sqlite "
      "graded/lot-2-of-2.sqlite\n"
      "gives the store of one run over all photographs, with the same head.");
  merge->callback([=] { *exit_code = MergeStores(*arguments); });
}

}  // namespace

void AddStore(CLI::App& app, int* exit_code) {
  auto arguments = std::make_shared<StoreArguments>();
  CLI::App* verb = app.add_subcommand("store", "Look into the store of a lot");
  verb->require_subcommand(1);
  AddVerify(verb, arguments, exit_code);
  AddExport(verb, arguments, exit_code);
  AddFind(verb, arguments, exit_code);
  AddMerge(verb, arguments, exit_code);
  verb->footer("Example:\n  endgrade store verify delivery-12-graded/lot.sqlite");
}

}  // namespace endgrade::cli

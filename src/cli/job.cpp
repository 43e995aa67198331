#include "cli/error_line.h"
#include "cli/inputs.h"
#include "cli/interrupt.h"
#include "cli/lot_progress.h"
#include "cli/passphrase.h"
#include "cli/picture_memory.h"
#include "cli/print.h"
#include "cli/verbs.h"
#include "endgrade/present.h"
#include "job/add.h"
#include "job/sign.h"
#include "job/status.h"
#include "job_page/job_report.h"
#include "job_page/print_pdf.h"
#include "present/escape.h"

#include <opencv2/core/utility.hpp>

#include <cstdio>
#include <memory>
#include <thread>

namespace endgrade::cli {
namespace fs = std::filesystem;
namespace {

constexpr const char* kReportFile = "report/report.html";
constexpr const char* kPdfFile = "report/report.pdf";

struct JobArguments {
  std::string job;
  std::string name;
  std::string who;
  std::string camera;
  std::string limits;
  job::Address panel;
  std::vector<std::string> ports;
  std::vector<std::string> sides;
  std::vector<std::string> files;
  std::string port;
  std::string side;
  std::string key;
  std::string passphrase_file;
  std::string out;
  std::string paper = "a4";
  int fibre = 1;
  int threads = 0;
  bool json = false;
  bool pdf = false;
};
using Arguments = std::shared_ptr<JobArguments>;

int ThreadsOf(const JobArguments& arguments) {
  if (arguments.threads > 0) return arguments.threads;
  return std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
}

// The folder without a slash at its end, so that paths below it are told the same way always.
fs::path JobPath(const JobArguments& arguments) {
  const fs::path path = fs::path(arguments.job).lexically_normal();
  return path.has_filename() || !path.has_parent_path() ? path : path.parent_path();
}

int New(const JobArguments& arguments) {
  const fs::path path = JobPath(arguments);
  std::string job_file;
  std::error_code ignored;
  if (!fs::exists(path / job::kJobFile, ignored)) {
    if (arguments.limits.empty() || arguments.ports.empty() || arguments.who.empty() ||
        arguments.camera.empty()) {
      throw CLI::ValidationError(
          "--limits, --who, --camera and --ports are needed where the folder holds no job.toml "
          "yet");
    }
    const auto sides =
        arguments.sides.empty() ? std::vector<std::string>{"A", "B"} : arguments.sides;
    const std::string name = arguments.name.empty() ? path.filename().string() : arguments.name;
    job_file = job::FirstJobFile(name,
                                 arguments.who,
                                 arguments.camera,
                                 arguments.limits,
                                 arguments.panel,
                                 arguments.ports,
                                 sides);
  } else if (!arguments.limits.empty() || !arguments.ports.empty() || !arguments.who.empty()) {
    return Refuse({ErrorKind::kBadOption,
                   (path / job::kJobFile).string(),
                   0,
                   "is there already, and says what the job is",
                   "Change it, and leave the options out"});
  }
  auto folder = job::Folder::Make(path, job_file);
  if (!folder.ok()) return Refuse(folder.error());
  if (auto error = folder->Finish()) return Refuse(*error);
  Print("Job \"" + PrintableText(folder->plan().name) +
        "\": " + std::to_string(folder->plan().ports.size()) + " ports. What it asks for is in " +
        PrintableText((path / job::kJobFile).string()) + ".\n");
  return kAllPass;
}

std::string AddedWords(const job::Added& added) {
  std::string text = PrintableText(added.source.string()) + ": " +
                     PrintableText(added.face.Words()) + ", attempt " +
                     std::to_string(added.row.face.attempt) + ": " + added.row.verdict;
  if (added.was_there) return text + " (was there already)\n";
  if (added.row.marginal) text += " (marginal)";
  text += '\n';
  const auto attempt = summary::AttemptOf(added.row);
  for (const std::string& reason : attempt.reasons) {
    text += "  " + PrintableText(reason) + "\n";
  }
  return text;
}

int CodeOf(const job::AddResult& result) {
  bool failed = false;
  bool ungradable = false;
  for (const job::Added& added : result.added) {
    failed |= added.row.verdict == "fail";
    ungradable |= added.row.verdict == "ungradable";
  }
  if (!result.refused.empty()) return kBadInput;
  if (failed) return kSomeFail;
  return ungradable ? kSomeUngradable : kAllPass;
}

int Add(const JobArguments& arguments) {
  PreparePictureMemory();
  cv::setNumThreads(1);  // pictures run in parallel, not the parts of one
  const Inputs inputs = ListInputs(arguments.files);
  for (const Error& problem : inputs.problems) PrintErrorLine(problem.Text());
  auto folder = job::Folder::Open(JobPath(arguments));
  if (!folder.ok()) return Refuse(folder.error());
  job::AddOptions options;
  options.who = arguments.who;
  options.camera = arguments.camera;
  options.port = arguments.port;
  options.side = arguments.side;
  options.fibre = arguments.fibre;
  options.threads = ThreadsOf(arguments);
  const InterruptGuard guard;
  LotProgress progress;
  const auto result = job::AddPhotographs(
      *folder, inputs.pictures, options, [&](const job::Added& added, std::size_t done, auto all) {
        progress.Clear();
        Print(AddedWords(added));
        std::fflush(stdout);
        progress.Show(done, all);
        return !guard.Interrupted();
      });
  progress.Clear();
  const auto finished = folder->Finish();
  if (!result.ok()) return Refuse(result.error());
  for (const Error& refused : result->refused) PrintErrorLine(refused.Text());
  if (finished) return Refuse(*finished);
  if (result->stopped) {
    PrintErrorLine("stopped; the same command goes on from here.");
    guard.EndBySignal();
  }
  return inputs.problems.empty() ? CodeOf(*result) : static_cast<int>(kBadInput);
}

std::string FaceLine(const job::FaceStatus& face, const job::Port& port) {
  std::string text = "  ";
  text += port.sides.size() > 1 ? "side " + face.face.side : face.face.side;
  if (port.fibres > 1) text += " fibre " + std::to_string(face.face.fibre);
  text += ": " + std::string(job::Word(face.state));
  if (!face.shots.empty()) {
    text += ", " + std::to_string(face.shots.size()) +
            (face.shots.size() == 1 ? " attempt" : " attempts");
  }
  return PrintableText(text) + "\n";
}

std::string StatusWords(const job::Plan& plan, const job::Status& status) {
  std::string text = PrintableText(plan.name) + "\n";
  for (const job::PortStatus& port : status.ports) {
    text += PrintableText(port.port.address.Words()) + ": " + job::Word(port.state);
    if (!port.attachments.empty()) {
      text += ", " + std::to_string(port.attachments.size()) + " attached";
    }
    text += "\n";
    if (port.state == job::PortState::kReady) continue;  // only what is still to do
    for (const job::FaceStatus& face : port.faces) text += FaceLine(face, port.port);
  }
  for (const std::string& note : status.notes) text += PrintableText(note) + ".\n";
  return text + std::to_string(status.ports.size()) +
         " ports: " + std::to_string(status.num_ready) + " ready, " +
         std::to_string(status.num_not_ready) + " not ready, " +
         std::to_string(status.num_to_inspect) + " to inspect.\n";
}

int CodeOf(const job::Status& status) {
  if (status.num_not_ready > 0) return kSomeFail;
  return status.num_to_inspect > 0 ? kSomeUngradable : kAllPass;
}

std::optional<job::Plan> PlanOf(const fs::path& path) {
  auto check = job::ReadPlan(path);
  for (const Error& error : check.errors) PrintErrorLine(error.Text());
  return std::move(check.plan);
}

int ShowStatus(const JobArguments& arguments) {
  const fs::path path = JobPath(arguments);
  const auto plan = PlanOf(path);
  if (!plan) return kBadInput;
  const auto store = store::Store::OpenToRead(path / job::kStoreFile);
  if (!store.ok()) return Refuse(store.error());
  const auto status = job::StatusOf(*store, *plan);
  if (!status.ok()) return Refuse(status.error());
  if (arguments.json) {
    PrintRaw(job::StatusJson(*plan, *status) + "\n");
  } else {
    Print(StatusWords(*plan, *status));
  }
  return CodeOf(*status);
}

job_page::ReportOptions OptionsOf(const JobArguments& arguments) {
  job_page::ReportOptions options;
  options.paper = arguments.paper == "letter" ? job_page::Paper::kLetter : job_page::Paper::kA4;
  options.threads = ThreadsOf(arguments);
  return options;
}

// Elsewhere than in the job: the job is only read.
std::optional<Error> ReportTo(const fs::path& folder,
                              const std::string& html,
                              const JobArguments& arguments) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (auto problem = WriteFileSafely(folder / "report.html", html)) return problem;
  if (!arguments.pdf) return std::nullopt;
  return job_page::PrintPdf(folder / "report.html", folder / "report.pdf");
}

std::optional<Error> ReportInto(job::Folder& folder,
                                const std::string& html,
                                const JobArguments& arguments) {
  if (auto error = folder.Write(kReportFile, html)) return error;
  if (!arguments.pdf) return std::nullopt;
  if (auto error = job_page::PrintPdf(folder.path() / kReportFile, folder.path() / kPdfFile)) {
    return error;
  }
  return folder.Note(kPdfFile);
}

int Report(const JobArguments& arguments) {
  PreparePictureMemory();
  cv::setNumThreads(1);  // faces run in parallel, not the parts of one
  const fs::path path = JobPath(arguments);
  const bool inside = arguments.out.empty();
  std::optional<job::Folder> folder;
  std::optional<store::Store> read_only;
  std::optional<job::Plan> plan;
  if (inside) {
    auto opened = job::Folder::Open(path);
    if (!opened.ok()) return Refuse(opened.error());
    folder.emplace(std::move(*opened));
  } else {
    plan = PlanOf(path);
    if (!plan) return kBadInput;
    auto store = store::Store::OpenToRead(path / job::kStoreFile);
    if (!store.ok()) return Refuse(store.error());
    read_only.emplace(std::move(*store));
  }
  const store::Store& store = inside ? folder->store() : *read_only;
  const job::Plan& of = inside ? folder->plan() : *plan;
  const auto status = job::StatusOf(store, of);
  if (!status.ok()) return Refuse(status.error());
  const auto html = job_page::JobReport(path, store, of, *status, OptionsOf(arguments));
  if (!html.ok()) return Refuse(html.error());
  auto error =
      inside ? ReportInto(*folder, *html, arguments) : ReportTo(arguments.out, *html, arguments);
  // The page is written even where no PDF could be made of it.
  std::optional<Error> unfinished = inside ? folder->Finish() : std::nullopt;
  if (error) return Refuse(*error);
  if (unfinished) return Refuse(*unfinished);
  const fs::path page = inside ? path / kReportFile : fs::path(arguments.out) / "report.html";
  Print("Report: " + PrintableText(page.string()) + "\n");
  if (arguments.pdf)
    Print("PDF:    " + PrintableText(fs::path(page).replace_extension(".pdf").string()) + "\n");
  return CodeOf(*status);
}

int Attach(const JobArguments& arguments) {
  auto folder = job::Folder::Open(JobPath(arguments));
  if (!folder.ok()) return Refuse(folder.error());
  const std::vector<fs::path> files(arguments.files.begin(), arguments.files.end());
  const auto error = job::Attach(*folder, arguments.port, files, arguments.who);
  const auto unfinished = folder->Finish();
  if (error) return Refuse(*error);
  if (unfinished) return Refuse(*unfinished);
  Print(std::to_string(files.size()) + (files.size() == 1 ? " file" : " files") +
        " kept with port " + PrintableText(arguments.port) + ".\n");
  return kAllPass;
}

int Sign(const JobArguments& arguments) {
  const auto key =
      evidence::SigningKey::Read(arguments.key, PassphraseFrom(arguments.passphrase_file));
  if (!key.ok()) return Refuse(key.error());
  auto folder = job::Folder::Open(JobPath(arguments));
  if (!folder.ok()) return Refuse(folder.error());
  const auto signature = job::Sign(*folder, *key);
  const auto unfinished = folder->Finish();
  if (!signature.ok()) return Refuse(signature.error());
  if (unfinished) return Refuse(*unfinished);
  Print("Signed: " + std::to_string(signature->statement.num_photographs) + " photographs and " +
        std::to_string(signature->statement.num_entries) + " log entries, with the key " +
        signature->key.Fingerprint() + ".\n");
  return kAllPass;
}

void AddJobOption(CLI::App* verb, const Arguments& arguments) {
  verb->add_option("JOB", arguments->job, "The job's folder")->required()->type_name("");
}

void AddNew(CLI::App* verb, const Arguments& arguments, int* exit_code) {
  CLI::App* make = verb->add_subcommand("new", "Make a job");
  AddJobOption(make, arguments);
  make->add_option("--limits", arguments->limits, "An ID of 'limits list'")->type_name("ID");
  make->add_option("--who", arguments->who, "Whose inspection it is")->type_name("TEXT");
  make->add_option("--camera", arguments->camera, "The microscope, in words")->type_name("TEXT");
  make->add_option("--name", arguments->name, "The job's name [the folder's]")->type_name("TEXT");
  make->add_option("--site", arguments->panel.site, "Where: the site")->type_name("TEXT");
  make->add_option("--cabinet", arguments->panel.cabinet, "The cabinet")->type_name("TEXT");
  make->add_option("--panel", arguments->panel.panel, "The panel")->type_name("TEXT");
  make->add_option("--ports", arguments->ports, "Its ports: names, or 01..12")
      ->type_name("TEXT")
      ->delimiter(',');
  make->add_option("--sides", arguments->sides, "Faces of a port: one, or both of a pair [A,B]")
      ->type_name("TEXT")
      ->delimiter(',');
  make->footer(
      "Example:\n"
      "  endgrade job new pier-job/ --limits sm-upc --who \"Technician 7\" \\\n"
      "      --camera \"USB scope 12\" --site Pier --cabinet C2 --panel P1 --ports 01..12\n"
      "writes pier-job/job.toml, which says more and may be changed. A folder that holds a "
      "job.toml\n"
      "of your own becomes a job by `endgrade job new FOLDER`.\n\n"
      "Exit codes: 0 made, 2 it could not be.");
  make->callback([=] { *exit_code = New(*arguments); });
}

void AddAdd(CLI::App* verb, const Arguments& arguments, int* exit_code) {
  CLI::App* add = verb->add_subcommand("add", "Add photographs, and grade them");
  AddJobOption(add, arguments);
  add->add_option("PATH", arguments->files, "Photographs, or folders of them")
      ->required()
      ->type_name("");
  add->add_option("--port", arguments->port, "Of which port: 07, P1/07 [by the file's name]")
      ->type_name("TEXT");
  add->add_option("--side", arguments->side, "Of which side")->type_name("TEXT");
  add->add_option("--fibre", arguments->fibre, "Of which fibre [1]")
      ->type_name("N")
      ->check(CLI::Range(1, 9999).description(""));
  add->add_option("--who", arguments->who, "Whose inspection [the job file's]")->type_name("TEXT");
  add->add_option("--camera", arguments->camera, "The microscope [the job file's]")
      ->type_name("TEXT");
  add->add_option("--threads", arguments->threads, "Pictures graded at a time [all cores]")
      ->type_name("N")
      ->check(CLI::Range(1, 256).description(""));
  add->footer(
      "Example:\n"
      "  endgrade job add pier-job/ --port 07 --side A before.jpg after.jpg\n"
      "Each photograph of a face is its next attempt. Without --port names tell: 07-A-2.jpg is "
      "port\n"
      "07, side A, attempt 2. Check for optical power before you look at or touch an end face.\n\n"
      "Exit codes: 0 all of these pass, 1 some fail, 2 usage, or some could not be taken, 3 "
      "nothing\n"
      "failed but some cannot be graded.");
  add->callback([=] { *exit_code = Add(*arguments); });
}

void AddStatus(CLI::App* verb, const Arguments& arguments, int* exit_code) {
  CLI::App* status = verb->add_subcommand("status", "What is ready, what is still to do");
  AddJobOption(status, arguments);
  status->add_flag("--json", arguments->json, "One line of JSON instead of words");
  status->footer(
      "Example:\n  endgrade job status pier-job/\n\n"
      "A port is ready only when all its faces pass, both sides of a pair included. Exit codes: 0\n"
      "all ready, 1 some fail, 2 it cannot be read, 3 nothing failed but some are to be "
      "inspected.");
  status->callback([=] { *exit_code = ShowStatus(*arguments); });
}

void AddReport(CLI::App* verb, const Arguments& arguments, int* exit_code) {
  CLI::App* report = verb->add_subcommand("report", "Write the report: HTML, and PDF");
  AddJobOption(report, arguments);
  report->add_flag("--pdf", arguments->pdf, "Print it to a PDF too");
  report->add_option("--paper", arguments->paper, "Size of the pages [a4]")
      ->type_name("a4|letter")
      ->check(CLI::IsMember({"a4", "letter"}).description(""));
  report->add_option("--out", arguments->out, "Another folder for it [report/ in the job]")
      ->type_name("DIR");
  report->footer(
      "Example:\n  endgrade job report --pdf pier-job/\n"
      "The PDF is printed by chromium (`chromium --headless --print-to-pdf`), or by the browser "
      "that\n"
      "ENDGRADE_BROWSER names.\n\n"
      "Exit codes: those of `endgrade job status`; 2 also when the report could not be written.");
  report->callback([=] { *exit_code = Report(*arguments); });
}

void AddAttach(CLI::App* verb, const Arguments& arguments, int* exit_code) {
  CLI::App* attach = verb->add_subcommand("attach", "Keep other results with a port");
  AddJobOption(attach, arguments);
  attach->add_option("PORT", arguments->port, "The port: 07, P1/07")->required()->type_name("");
  attach->add_option("FILE", arguments->files, "Loss readings, traces, notes: any files")
      ->required()
      ->type_name("");
  attach->add_option("--who", arguments->who, "Who attaches them [the job file's]")
      ->type_name("TEXT");
  attach->footer(
      "Example:\n  endgrade job attach pier-job/ 07 loss-reading.csv\n"
      "They are kept by their hashes beside the photographs, and never read.\n\n"
      "Exit codes: 0 kept, 2 something could not be.");
  attach->callback([=] { *exit_code = Attach(*arguments); });
}

void AddSign(CLI::App* verb, const Arguments& arguments, int* exit_code) {
  CLI::App* sign = verb->add_subcommand("sign", "Sign all that is in the job with your key");
  AddJobOption(sign, arguments);
  sign->add_option("--key", arguments->key, "The private key, of 'key new'")
      ->required()
      ->type_name("FILE");
  sign->add_option("--passphrase-file", arguments->passphrase_file, "Opens it [typed]")
      ->type_name("FILE");
  sign->footer(
      "Example:\n  endgrade job sign --key my-key.pem pier-job/\n\n"
      "Exit codes: 0 signed, 2 it could not be.");
  sign->callback([=] { *exit_code = Sign(*arguments); });
}

}  // namespace

void AddJob(CLI::App& app, int* exit_code) {
  auto arguments = std::make_shared<JobArguments>();
  CLI::App* verb = app.add_subcommand("job", "A site's ports: inspect, clean, prove, report");
  verb->require_subcommand(1);
  AddNew(verb, arguments, exit_code);
  AddAdd(verb, arguments, exit_code);
  AddStatus(verb, arguments, exit_code);
  AddAttach(verb, arguments, exit_code);
  AddReport(verb, arguments, exit_code);
  AddSign(verb, arguments, exit_code);
  verb->footer("Example:\n  endgrade job status pier-job/");
}

}  // namespace endgrade::cli

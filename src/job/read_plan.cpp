#include "job/kept.h"
#include "job/plan.h"
#include "limits/files.h"
#include "limits/table_reader.h"
#include "lot/inside.h"

#include <algorithm>
#include <map>
#include <memory>

namespace endgrade::job {
namespace fs = std::filesystem;
namespace {

constexpr std::size_t kMostPorts = 100'000;
constexpr int kMostFibres = 288;
constexpr std::size_t kMostDigits = 6;

bool IsNumber(const std::string& text) {
  return !text.empty() && text.size() <= kMostDigits &&
         std::all_of(text.begin(), text.end(), [](char c) { return c >= '0' && c <= '9'; });
}

// "01..12": the ports 01, 02, ..., 12, as many digits as the first has.
struct Range {
  int first = 0;
  int last = 0;
  std::size_t num_digits = 0;

  // Nothing for one that runs backwards or is no range.
  static std::optional<Range> Of(const std::string& text) {
    const std::size_t dots = text.find("..");
    if (dots == std::string::npos) return std::nullopt;
    const std::string first = text.substr(0, dots);
    const std::string last = text.substr(dots + 2);
    if (!IsNumber(first) || !IsNumber(last)) return std::nullopt;
    const Range range{std::stoi(first), std::stoi(last), first.size()};
    return range.first <= range.last ? std::optional(range) : std::nullopt;
  }

  [[nodiscard]] std::size_t Count() const { return static_cast<std::size_t>(last - first) + 1; }

  [[nodiscard]] std::vector<std::string> Names() const {
    std::vector<std::string> names;
    for (int n = first; n <= last; ++n) {
      std::string name = std::to_string(n);
      if (name.size() < num_digits) name.insert(0, num_digits - name.size(), '0');
      names.push_back(name);
    }
    return names;
  }
};

class PlanReader {
 public:
  PlanReader(const toml::table& table, const fs::path& job, Mistakes& mistakes)
      : top_(table,
             "",
             mistakes,
             {"schema",
              "name",
              "who",
              "camera",
              "camera_profile",
              "um_per_px",
              "decision",
              "pattern",
              "limits",
              "panel"}),
        job_(job),
        mistakes_(mistakes) {}

  Plan Read() {
    Plan plan;
    top_.Choice<bool>("schema", Need::kMust, {{"endgrade.job/1", true}});
    plan.name = top_.Text("name", Need::kMust).value_or("");
    plan.who = top_.Text("who", Need::kMust).value_or("");
    plan.camera = top_.Text("camera", Need::kMust).value_or("");
    plan.settings.name = plan.name;
    plan.settings.photographs = job_;
    ReadPatterns(&plan);
    ReadGrading(&plan);
    ReadLimits(&plan);
    for (const toml::table* table : top_.Tables("panel")) ReadPanel(*table, &plan);
    if (plan.ports.empty()) {
      mistakes_.Add(top_.Line(),
                    "there is no [[panel]] with ports",
                    "Write [[panel]] and ports = [\"01..12\"]");
    }
    return plan;
  }

 private:
  std::optional<fs::path> Inside(const std::string& text, std::string_view key, int line) {
    if (auto place = lot::PlaceInside(job_, text)) return place;
    mistakes_.Add(line,
                  std::string(key) + " = \"" + text + "\" leads out of the job's folder",
                  "Copy what it names into that folder");
    return std::nullopt;
  }

  void ReadPatterns(Plan* plan) {
    std::vector<std::pair<std::string, int>> texts;
    const toml::node* node = top_.Node("pattern");
    if (node && node->is_array()) {
      texts = top_.Texts("pattern");
    } else if (auto text = top_.Text("pattern", Need::kMay)) {
      texts.emplace_back(*text, top_.Line("pattern"));
    }
    if (texts.empty()) return;
    plan->settings.patterns.clear();
    for (const auto& [text, line] : texts) {
      auto pattern = lot::NamePattern::Parse(text);
      if (pattern.ok()) {
        plan->settings.patterns.push_back(std::move(*pattern));
      } else {
        mistakes_.Add(line, pattern.error().what, pattern.error().remedy);
      }
    }
  }

  void ReadGrading(Plan* plan) {
    GradeOptions& options = plan->settings.options;
    if (const auto text = top_.Text("camera_profile", Need::kMay)) {
      if (const auto file = Inside(*text, "camera_profile", top_.Line("camera_profile"))) {
        auto profile = ReadCameraProfile(*file);
        if (profile.ok()) {
          options.camera = std::make_shared<const CameraProfile>(std::move(*profile));
          plan->camera_profile = *file;
        } else {
          mistakes_.Add(top_.Line("camera_profile"), profile.error().Text());
        }
      }
    }
    options.scale.um_per_px = top_.Number("um_per_px", Need::kMay);
    options.judge.decision = top_.Choice<DecisionRule>("decision",
                                                       Need::kMay,
                                                       {{"simple", DecisionRule::kSimple},
                                                        {"guarded", DecisionRule::kGuarded}})
                                 .value_or(DecisionRule::kSimple);
    if (const auto problem = options.Problem()) mistakes_.Add(top_.Line(), *problem);
  }

  Result<Limits> LimitsMeant(const std::string& text, int line) {
    if (LooksLikePath(text)) {
      const auto file = Inside(text, "limits", line);
      if (!file) return Error{};  // said already
      return FindLimits(file->string());
    }
    auto kept = KeptLimitsCalled(job_, text);
    if (kept.size() == 1) return std::move(kept.front());
    if (kept.empty()) return FindLimits(text);
    return Error{
        ErrorKind::kBadLimits,
        "",
        0,
        "the job keeps several limits called \"" + text + "\"",
        "Write the path of one of them, like limits/" + kept.front().sha256 + "/" + text + ".toml"};
  }

  void ReadLimits(Plan* plan) {
    const toml::table* table = top_.Table("limits");
    if (!table || table->empty()) {
      mistakes_.Add(top_.Line(),
                    "there are no [limits]",
                    "Write [limits] and default = \"sm-upc\", or a line for each connector kind");
      return;
    }
    for (auto&& [name, value] : *table) {
      const std::string kind(name.str());
      const auto text = value.value_exact<std::string>();
      if (!text || text->empty()) {
        mistakes_.Add(
            LineOf(value), "[limits] " + kind + " is not text", "Write it in quotation marks");
        continue;
      }
      auto limits = LimitsMeant(*text, LineOf(value));
      if (limits.ok()) {
        plan->settings.limits.emplace(kind == "default" ? "" : kind, std::move(*limits));
      } else if (!limits.error().what.empty()) {
        mistakes_.Add(LineOf(value), limits.error().Text());
      }
    }
  }

  void CheckName(const std::string& what, const std::string& name, int line) {
    if (const auto problem = NameProblem(name)) {
      mistakes_.Add(line, what + " \"" + name + "\" " + *problem, "Give it another name");
    }
  }

  std::vector<std::string> SidesOf(TableReader& panel) {
    std::vector<std::string> sides;
    for (auto& [side, line] : panel.Texts("sides")) {
      CheckName("side", side, line);
      sides.push_back(side);
    }
    if (!panel.Has("sides")) return {"A", "B"};
    const bool twice = sides.size() == 2 && LowerCase(sides.front()) == LowerCase(sides.back());
    if (sides.empty() || sides.size() > 2 || twice) {
      panel.Wrong("sides", "one name, or two different ones for a mated pair");
    }
    return sides;
  }

  void ReadPanel(const toml::table& table, Plan* plan) {
    TableReader panel(table,
                      "[[panel]]",
                      mistakes_,
                      {"site", "cabinet", "panel", "ports", "kind", "sides", "fibres"});
    Port port;
    port.address.site = panel.Text("site", Need::kMay).value_or("");
    port.address.cabinet = panel.Text("cabinet", Need::kMay).value_or("");
    port.address.panel = panel.Text("panel", Need::kMay).value_or("");
    CheckName("site", port.address.site, panel.Line("site"));
    CheckName("cabinet", port.address.cabinet, panel.Line("cabinet"));
    CheckName("panel", port.address.panel, panel.Line("panel"));
    port.kind = panel.Text("kind", Need::kMay).value_or("");
    port.sides = SidesOf(panel);
    port.fibres = panel.Whole("fibres", 1, kMostFibres, Need::kMay).value_or(1);
    if (!plan->settings.limits.empty() && !plan->settings.LimitsOf(port.kind)) {
      mistakes_.Add(panel.Line(),
                    "there are no limits for kind \"" + port.kind + "\"",
                    "Add a line to [limits]");
    }
    const auto texts = panel.Texts("ports");
    if (texts.empty() && !panel.Has("ports")) panel.Wrong("ports", "names, like [\"01..12\"]");
    for (const auto& [text, line] : texts) AddPorts(text, line, port, plan);
  }

  void AddPorts(const std::string& text, int line, const Port& like, Plan* plan) {
    const auto range = Range::Of(text);
    if (!range && text.find("..") != std::string::npos) {
      mistakes_.Add(line, "ports \"" + text + "\" is no range", "Write it like \"01..12\"");
      return;
    }
    // Counted as they are named, so that no file of many ranges makes many mistakes of each.
    const bool too_many_before = num_named_ > kMostPorts;
    num_named_ += range ? range->Count() : 1;
    if (num_named_ > kMostPorts) {
      if (too_many_before) return;  // said already
      mistakes_.Add(line, "there are more than 100000 ports", "Make it several jobs");
      return;
    }
    for (const std::string& name : range ? range->Names() : std::vector{text}) {
      CheckName("port", name, line);
      Port port = like;
      port.address.port = name;
      const auto [other, is_new] =
          by_folder_.emplace(LowerCase(port.address.Folder().generic_string()), port.address);
      if (!is_new) {
        mistakes_.Add(line,
                      "port " + port.address.Words() +
                          (other->second == port.address
                               ? " is listed twice"
                               : " and " + other->second.Words() +
                                     " differ only in capitals, which not every disk tells apart"),
                      "Name each port once");
        continue;
      }
      plan->ports.push_back(std::move(port));
    }
  }

  TableReader top_;
  fs::path job_;
  Mistakes& mistakes_;
  std::map<std::string, Address> by_folder_;
  std::size_t num_named_ = 0;
};

}  // namespace

PlanCheck ReadPlan(const fs::path& job) {
  PlanCheck check;
  const fs::path file = job / kJobFile;
  std::error_code ignored;
  if (!fs::exists(file, ignored)) {
    check.errors.push_back({ErrorKind::kNotFound,
                            job.string(),
                            0,
                            "this is no job: there is no job.toml in it",
                            "Name a job's folder, or make one with `endgrade job new`"});
    return check;
  }
  const auto bytes = ReadBytes(file);
  if (!bytes.ok()) {
    check.errors.push_back(bytes.error());
    return check;
  }
  Mistakes mistakes(check.errors, file.string());
  const toml::parse_result parsed = toml::parse(*bytes, file.string());
  if (!parsed) {
    mistakes.Add(static_cast<int>(parsed.error().source().begin.line),
                 "this is not TOML: " + WordsOf(parsed.error()),
                 "Check brackets, quotes and the equals sign on and above this line");
    return check;
  }
  Plan plan = PlanReader(parsed.table(), job, mistakes).Read();
  if (check.errors.empty()) check.plan = std::move(plan);
  return check;
}

}  // namespace endgrade::job

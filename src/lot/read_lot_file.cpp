#include "limits/files.h"
#include "limits/table_reader.h"
#include "lot/inside.h"
#include "lot/settings.h"

namespace endgrade::lot {
namespace fs = std::filesystem;
namespace {

constexpr int kLargestLot = 1'000'000'000;

class LotReader {
 public:
  LotReader(const toml::table& table, const fs::path& file, Mistakes& mistakes)
      : top_(table,
             "",
             mistakes,
             {"schema",
              "name",
              "photographs",
              "pattern",
              "ends",
              "fibres",
              "camera",
              "um_per_px",
              "decision",
              "limits",
              "kind_of_end",
              "sampling"}),
        file_(file),
        mistakes_(mistakes) {}

  Settings Read() {
    Settings settings;
    top_.Choice<bool>("schema", Need::kMust, {{"endgrade.lot/1", true}});
    settings.name = top_.Text("name", Need::kMust).value_or("");
    ReadFolder(&settings);
    ReadPatterns(&settings);
    ReadFaces(&settings);
    ReadLimits(&settings);
    ReadGrading(&settings);
    ReadSampling(&settings);
    return settings;
  }

 private:
  // A path in the lot file, from the file's folder; nothing, and a mistake, when it leads out.
  std::optional<fs::path> Inside(const std::string& text, std::string_view key, int line) {
    if (auto place = PlaceInside(file_.parent_path(), text)) return place;
    mistakes_.Add(line,
                  std::string(key) + " = \"" + text + "\" leads out of the lot file's folder",
                  "Put what it names into that folder");
    return std::nullopt;
  }

  void ReadFolder(Settings* settings) {
    const std::string text = top_.Text("photographs", Need::kMay).value_or(".");
    const auto folder = Inside(text, "photographs", top_.Line("photographs"));
    if (!folder) return;
    std::error_code ignored;
    if (!fs::is_directory(*folder, ignored)) {
      mistakes_.Add(top_.Line("photographs"),
                    "there is no folder \"" + text + "\" beside the lot file",
                    "Name the folder that holds the photographs");
    }
    settings->photographs = *folder;
  }

  void ReadPatterns(Settings* settings) {
    std::vector<std::pair<std::string, int>> texts;
    const toml::node* node = top_.Node("pattern");
    if (node && node->is_array()) {
      texts = top_.Texts("pattern");
    } else if (auto text = top_.Text("pattern", Need::kMay)) {
      texts.emplace_back(*text, top_.Line("pattern"));
    }
    if (texts.empty()) return;
    settings->patterns.clear();
    for (const auto& [text, line] : texts) {
      auto pattern = NamePattern::Parse(text);
      if (pattern.ok()) {
        settings->patterns.push_back(std::move(*pattern));
      } else {
        mistakes_.Add(line, pattern.error().what, pattern.error().remedy);
      }
    }
  }

  void ReadFaces(Settings* settings) {
    for (auto& [end, line] : top_.Texts("ends")) settings->ends.push_back(end);
    settings->fibres = top_.Whole("fibres", 1, 9999, Need::kMay).value_or(0);
    for (auto& [end, kind] : TextTable("kind_of_end")) settings->kind_of_end[end] = kind.first;
  }

  void ReadLimits(Settings* settings) {
    const auto entries = TextTable("limits");
    if (entries.empty()) {
      mistakes_.Add(top_.Line(),
                    "there are no [limits]",
                    "Write [limits] and default = \"sm-upc\", or a line for each connector kind");
    }
    for (const auto& [kind, entry] : entries) {
      const auto& [text, line] = entry;
      std::string id_or_file = text;
      if (LooksLikePath(text)) {
        const auto file = Inside(text, "limits", line);
        if (!file) continue;
        id_or_file = file->string();
      }
      auto found = FindLimits(id_or_file);
      if (found.ok()) {
        settings->limits.emplace(kind == "default" ? "" : kind, std::move(*found));
      } else {
        mistakes_.Add(line, found.error().Text());
      }
    }
  }

  void ReadGrading(Settings* settings) {
    if (const auto text = top_.Text("camera", Need::kMay)) {
      if (const auto file = Inside(*text, "camera", top_.Line("camera"))) {
        auto profile = ReadCameraProfile(*file);
        if (profile.ok()) {
          settings->options.camera = std::make_shared<const CameraProfile>(std::move(*profile));
        } else {
          mistakes_.Add(top_.Line("camera"), profile.error().Text());
        }
      }
    }
    settings->options.scale.um_per_px = top_.Number("um_per_px", Need::kMay);
    settings->options.judge.decision =
        top_.Choice<DecisionRule>(
                "decision",
                Need::kMay,
                {{"simple", DecisionRule::kSimple}, {"guarded", DecisionRule::kGuarded}})
            .value_or(DecisionRule::kSimple);
    if (const auto problem = settings->options.Problem()) mistakes_.Add(top_.Line(), *problem);
  }

  void ReadSampling(Settings* settings) {
    const toml::table* node = top_.Table("sampling");
    if (!node) return;
    TableReader table(
        *node, "[sampling]", mistakes_, {"level", "aql_percent", "severity", "lot_size", "draw"});
    Sampling sampling;
    sampling.level = table.Text("level", Need::kMay).value_or("II");
    sampling.severity =
        table
            .Choice<statistics::Severity>("severity",
                                          Need::kMay,
                                          {{"normal", statistics::Severity::kNormal},
                                           {"tightened", statistics::Severity::kTightened}})
            .value_or(statistics::Severity::kNormal);
    sampling.draw = table.Text("draw", Need::kMay).value_or(settings->name);
    const auto aql = table.Number("aql_percent", Need::kMust);
    const auto size = table.Whole("lot_size", 2, kLargestLot, Need::kMust);
    if (!aql || !size) return;
    sampling.aql_percent = *aql;
    sampling.lot_size = *size;
    const auto plan = statistics::SinglePlan(*size, sampling.level, *aql, sampling.severity);
    if (!plan.ok()) mistakes_.Add(table.Line(), plan.error().what, plan.error().remedy);
    settings->sampling = sampling;
  }

  // A table whose keys are the user's own words, and whose values are text; with lines.
  std::map<std::string, std::pair<std::string, int>> TextTable(const char* key) {
    std::map<std::string, std::pair<std::string, int>> entries;
    const toml::table* node = top_.Table(key);
    if (!node) return entries;
    for (auto&& [name, value] : *node) {
      const auto text = value.value_exact<std::string>();
      if (text && !text->empty()) {
        entries[std::string(name.str())] = {*text, LineOf(value)};
      } else {
        mistakes_.Add(LineOf(value),
                      "[" + std::string(key) + "] " + std::string(name.str()) + " is not text",
                      "Write it in quotation marks");
      }
    }
    return entries;
  }

  TableReader top_;
  fs::path file_;
  Mistakes& mistakes_;
};

}  // namespace

SettingsCheck ReadLotFile(const fs::path& file) {
  SettingsCheck check;
  const auto bytes = ReadBytes(file);
  if (!bytes.ok()) {
    check.errors.push_back(bytes.error());
    return check;
  }
  Mistakes mistakes(check.errors, file.string());
  const toml::parse_result parsed = toml::parse(*bytes, file.string());
  if (!parsed) {
    mistakes.Add(static_cast<int>(parsed.error().source().begin.line),
                 "this is not TOML: " + WordsOf(parsed.error()));
    return check;
  }
  Settings settings = LotReader(parsed.table(), file, mistakes).Read();
  if (check.errors.empty()) check.settings = std::move(settings);
  return check;
}

}  // namespace endgrade::lot

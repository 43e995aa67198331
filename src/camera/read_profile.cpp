#include "core/sha256.h"
#include "endgrade/camera.h"
#include "limits/files.h"
#include "limits/table_reader.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr int kMostSidePx = 100'000;
constexpr double kMostLength = 1e6;
constexpr std::size_t kMostPieces = 2000;
constexpr std::size_t kMostGridValues = 10'000;

// A number within bounds; 0 where it is not, which the reader has then noted as a mistake.
double Bounded(TableReader& table, std::string_view key, double low, double high) {
  const auto value = table.Number(key, Need::kMust);
  if (!value) return 0;
  if (!(*value >= low && *value <= high)) {
    table.Wrong(key, "a number from " + std::to_string(low) + " to " + std::to_string(high));
    return 0;
  }
  return *value;
}

cv::Point2d PointOf(TableReader& table, std::string_view key) {
  const auto values = table.Numbers(key, Need::kMust);
  if (!values) return {};
  const bool good = values->size() == 2 && std::abs((*values)[0]) < kMostLength &&
                    std::abs((*values)[1]) < kMostLength;
  if (good) return {(*values)[0], (*values)[1]};
  table.Wrong(key, "two numbers, x and y in pixels");
  return {};
}

bool Flag(TableReader& table, std::string_view key) {
  const toml::node* node = table.Node(key);
  const auto value = node ? node->value_exact<bool>() : std::nullopt;
  if (!value) table.Wrong(key, "true or false");
  return value.value_or(false);
}

// Rows of numbers, all equally long and within bounds; empty where they are not.
std::vector<std::vector<double>> Rows(TableReader& table,
                                      std::string_view key,
                                      double low,
                                      double high) {
  std::vector<std::vector<double>> rows;
  std::size_t count = 0;
  const toml::node* node = table.Node(key);
  const toml::array* array = node ? node->as_array() : nullptr;
  bool good = array && !array->empty();
  for (std::size_t i = 0; good && i < array->size(); ++i) {
    const toml::array* values = array->get(i)->as_array();
    good = values && !values->empty();
    std::vector<double> row;
    for (std::size_t j = 0; good && j < values->size(); ++j) {
      const auto value = values->get(j)->value<double>();
      good = value && *value >= low && *value <= high;
      if (good) row.push_back(*value);
    }
    count += row.size();
    good = good && (rows.empty() || rows.front().size() == row.size()) && count <= kMostGridValues;
    rows.push_back(std::move(row));
  }
  if (good) return rows;
  table.Wrong(key, "rows of numbers in brackets, all rows equally long");
  return {};
}

void ReadGrid(TableReader& table, FixedDirt* dirt) {
  dirt->divided = true;
  dirt->grid_origin_px = PointOf(table, "grid_origin_px");
  dirt->grid_step_px = Bounded(table, "grid_step_px", 1, kMostSidePx);
  const auto rows = Rows(table, "grid", 0.5, 2);
  if (rows.empty()) return;
  dirt->grid = cv::Mat(static_cast<int>(rows.size()), static_cast<int>(rows[0].size()), CV_32FC1);
  for (int y = 0; y < dirt->grid.rows; ++y) {
    for (int x = 0; x < dirt->grid.cols; ++x) {
      dirt->grid.at<float>(y, x) =
          static_cast<float>(rows[static_cast<std::size_t>(y)][static_cast<std::size_t>(x)]);
    }
  }
}

FixedDirt ReadDirt(const toml::table& node, Mistakes& mistakes) {
  TableReader table(node,
                    "[[dirt]]",
                    mistakes,
                    {"centre_px",
                     "diameter_px",
                     "transmission",
                     "use",
                     "outline_px",
                     "grid_origin_px",
                     "grid_step_px",
                     "grid"});
  FixedDirt dirt;
  dirt.centre_px = PointOf(table, "centre_px");
  dirt.diameter_px = Bounded(table, "diameter_px", 0, kMostSidePx);
  dirt.transmission = Bounded(table, "transmission", 0, 100);
  const auto use = table.Choice<bool>("use", Need::kMust, {{"hide", false}, {"divide", true}});
  if (!use) return dirt;
  if (*use) {
    ReadGrid(table, &dirt);
    return dirt;
  }
  for (const auto& row : Rows(table, "outline_px", -kMostLength, kMostLength)) {
    if (row.size() == 2) dirt.outline_px.emplace_back(cvRound(row[0]), cvRound(row[1]));
  }
  if (dirt.outline_px.size() < 3) table.Wrong("outline_px", "three and more points [x, y]");
  return dirt;
}

class ProfileReader {
 public:
  ProfileReader(const toml::table& table, Mistakes& mistakes)
      : table_(table), mistakes_(mistakes) {}

  CameraProfile Read() {
    TableReader top(table_,
                    "",
                    mistakes_,
                    {"schema",
                     "id",
                     "picture",
                     "learnt_from",
                     "scale",
                     "blur",
                     "noise",
                     "flat_field",
                     "fixed_dirt",
                     "dirt"});
    CameraProfile profile;
    top.Choice<bool>("schema", Need::kMust, {{"endgrade.camera/1", true}});
    profile.id = top.Id("id", Need::kMust).value_or("");
    Section(top, "picture", {"width_px", "height_px"}, [&](TableReader& t) {
      profile.picture_px.width = t.Whole("width_px", 1, kMostSidePx, Need::kMust).value_or(1);
      profile.picture_px.height = t.Whole("height_px", 1, kMostSidePx, Need::kMust).value_or(1);
    });
    Section(top,
            "learnt_from",
            {"num_pictures", "num_positions", "largest_move_px"},
            [&](TableReader& t) {
              profile.num_pictures = t.Whole("num_pictures", 0, 1'000'000, Need::kMust).value_or(0);
              profile.num_positions =
                  t.Whole("num_positions", 0, 1'000'000, Need::kMust).value_or(0);
              profile.largest_move_px = Bounded(t, "largest_move_px", 0, kMostLength);
            });
    ReadScale(top, &profile);
    Section(top, "blur", {"sigma_um", "sigma_um_uncertainty"}, [&](TableReader& t) {
      profile.blur_sigma_um = {Bounded(t, "sigma_um", 0, 100),
                               Bounded(t, "sigma_um_uncertainty", 0, 100)};
    });
    ReadLight(top, &profile);
    Section(top, "fixed_dirt", {"known"}, [&](TableReader& t) {
      profile.dirt_known = Flag(t, "known");
    });
    for (const toml::table* piece : top.Tables("dirt")) {
      if (profile.dirt.size() >= kMostPieces) break;
      profile.dirt.push_back(ReadDirt(*piece, mistakes_));
    }
    return profile;
  }

 private:
  template <typename Fill>
  void Section(TableReader& top,
               const char* key,
               std::initializer_list<std::string_view> known,
               const Fill& fill,
               Need need = Need::kMust) {
    const toml::table* node = top.Table(key);
    if (!node) {
      if (need == Need::kMust && !top.Has(key)) {
        mistakes_.Add(top.Line(), "there is no [" + std::string(key) + "]", "It must be there");
      }
      return;
    }
    TableReader table(*node, "[" + std::string(key) + "]", mistakes_, known);
    fill(table);
  }

  void ReadScale(TableReader& top, CameraProfile* profile) {
    Section(top,
            "scale",
            {"source",
             "um_per_px",
             "um_per_px_uncertainty",
             "um_per_px_scatter",
             "pixel_aspect",
             "pixel_aspect_uncertainty"},
            [&](TableReader& t) {
              profile->scale_source =
                  t.Choice<CameraScaleSource>("source",
                                              Need::kMust,
                                              {{"claddings", CameraScaleSource::kCladdings},
                                               {"target", CameraScaleSource::kTarget}})
                      .value_or(CameraScaleSource::kCladdings);
              profile->um_per_px.value = Bounded(t, "um_per_px", 0.01, 10);
              profile->um_per_px.uncertainty =
                  Bounded(t, "um_per_px_uncertainty", 0, 0.2 * profile->um_per_px.value);
              profile->um_per_px_scatter = Bounded(t, "um_per_px_scatter", 0, 10);
              profile->pixel_aspect = {Bounded(t, "pixel_aspect", 0.5, 2),
                                       Bounded(t, "pixel_aspect_uncertainty", 0, 1)};
            });
  }

  void ReadLight(TableReader& top, CameraProfile* profile) {
    Section(
        top,
        "noise",
        {"offset", "slope", "slope_known"},
        [&](TableReader& t) {
          profile->noise = NoiseLaw{
              Bounded(t, "offset", -1e9, 1e9), Bounded(t, "slope", 0, 1e6), Flag(t, "slope_known")};
        },
        Need::kMay);
    Section(
        top,
        "flat_field",
        {"x", "y", "x2_minus_y2", "xy", "r2", "r4"},
        [&](TableReader& t) {
          FlatField flat;
          const char* names[] = {"x", "y", "x2_minus_y2", "xy", "r2", "r4"};
          for (std::size_t i = 0; i < flat.coefficients.size(); ++i) {
            flat.coefficients[i] = Bounded(t, names[i], -3, 3);
          }
          profile->flat = flat;
        },
        Need::kMay);
  }

  const toml::table& table_;
  Mistakes& mistakes_;
};

}  // namespace

Result<CameraProfile> ReadCameraProfile(const std::filesystem::path& path) {
  auto bytes = ReadBytes(path);
  if (!bytes.ok()) return bytes.error();
  std::vector<Error> errors;
  Mistakes mistakes(errors, path.string());
  const toml::parse_result parsed = toml::parse(*bytes, path.string());
  CameraProfile profile;
  if (!parsed) {
    mistakes.Add(static_cast<int>(parsed.error().source().begin.line),
                 "not valid TOML: " + WordsOf(parsed.error()),
                 "Check brackets, quotes and the equals sign on and above this line");
  } else {
    profile = ProfileReader(parsed.table(), mistakes).Read();
  }
  if (!errors.empty()) {
    Error first = *std::min_element(errors.begin(),
                                    errors.end(),
                                    [](const Error& a, const Error& b) { return a.line < b.line; });
    first.kind = ErrorKind::kBadOption;
    return first;
  }
  profile.sha256 = Sha256Hex(*bytes);
  if (const auto problem = profile.Problem()) {
    return Error{
        ErrorKind::kBadOption, path.string(), 0, "unfit to use: " + *problem, "Learn it again"};
  }
  return profile;
}

}  // namespace endgrade

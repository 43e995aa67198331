#include "job/status.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <map>

namespace endgrade::job {
namespace fs = std::filesystem;
namespace {

using Json = nlohmann::ordered_json;

FaceState StateOf(const FaceStatus& face, const Limits* limits) {
  if (face.shots.empty()) return FaceState::kNotInspected;
  const summary::Attempt& last = face.shots.back().attempt;
  if (last.verdict == "pass") return FaceState::kPass;
  if (last.verdict != "fail") return FaceState::kUngradable;
  return limits && last.number > limits->max_cleanings ? FaceState::kRejected : FaceState::kFail;
}

PortState StateOf(const PortStatus& port) {
  const auto any = [&](std::initializer_list<FaceState> states) {
    return std::any_of(port.faces.begin(), port.faces.end(), [&](const FaceStatus& face) {
      return std::find(states.begin(), states.end(), face.state) != states.end();
    });
  };
  if (any({FaceState::kFail, FaceState::kRejected})) return PortState::kNotReady;
  if (any({FaceState::kUngradable, FaceState::kNotInspected})) return PortState::kToInspect;
  return PortState::kReady;
}

Shot ShotOf(const store::Row& row, const std::vector<Entry>& log) {
  Shot shot;
  shot.attempt = summary::AttemptOf(row);
  shot.taken_from = row.taken_from;
  shot.program = row.program;
  shot.limits_sha256 = row.limits_sha256;
  shot.overlay = OverlayOf(row.path);
  if (const Entry* entry = AddingOf(log, row.seq)) {
    shot.who = entry->adding.who;
    shot.camera = entry->adding.camera;
    shot.added_at = entry->at;
    shot.settings = entry->adding.settings;
  }
  return shot;
}

struct Gathered {
  std::map<Face, std::vector<Shot>> shots;
  std::map<Address, std::vector<Attachment>> attachments;
};

Result<Gathered> Gather(const store::Store& store) {
  const auto log = ReadLog(store);
  if (!log.ok()) return log.error();
  Gathered gathered;
  const auto error = store.ForEach({}, store::RowParts::kNoThumbnail, [&](const store::Row& row) {
    gathered.shots[FaceOfRow(row)].push_back(ShotOf(row, *log));
    return true;
  });
  if (error) return *error;
  for (const Entry& entry : *log) {
    if (entry.what == "attach")
      gathered.attachments[entry.attachment.address].push_back(entry.attachment);
  }
  for (auto& [face, shots] : gathered.shots) {
    std::stable_sort(shots.begin(), shots.end(), [](const Shot& a, const Shot& b) {
      return a.attempt.number < b.attempt.number;
    });
  }
  return gathered;
}

PortStatus PortOf(const Port& port, const Limits* limits, Gathered* gathered) {
  PortStatus status;
  status.port = port;
  for (const std::string& side : port.sides) {
    for (int fibre = 1; fibre <= port.fibres; ++fibre) {
      FaceStatus face;
      face.face = {port.address, side, fibre};
      auto shots = gathered->shots.extract(face.face);
      if (!shots.empty()) face.shots = std::move(shots.mapped());
      face.state = StateOf(face, limits);
      status.faces.push_back(std::move(face));
    }
  }
  auto attachments = gathered->attachments.extract(port.address);
  if (!attachments.empty()) status.attachments = std::move(attachments.mapped());
  status.state = StateOf(status);
  return status;
}

Json FaceJson(const FaceStatus& face) {
  Json json = {{"side", face.face.side},
               {"fibre", face.face.fibre},
               {"state", Word(face.state)},
               {"attempts", face.shots.size()}};
  Json shots = Json::array();
  for (const Shot& shot : face.shots) {
    shots.push_back({{"attempt", shot.attempt.number},
                     {"verdict", shot.attempt.verdict},
                     {"marginal", shot.attempt.marginal},
                     {"reasons", shot.attempt.reasons},
                     {"photograph", shot.attempt.path},
                     {"sha256", shot.attempt.sha256},
                     {"taken_at", shot.attempt.taken_at},
                     {"taken_from", shot.taken_from},
                     {"who", shot.who},
                     {"camera", shot.camera},
                     {"limits", shot.attempt.limits_id},
                     {"limits_sha256", shot.limits_sha256}});
  }
  json["photographs"] = std::move(shots);
  return json;
}

Json PortJson(const PortStatus& status) {
  const Address& at = status.port.address;
  Json faces = Json::array();
  for (const FaceStatus& face : status.faces) faces.push_back(FaceJson(face));
  Json attachments = Json::array();
  for (const Attachment& attachment : status.attachments) {
    attachments.push_back({{"name", attachment.name},
                           {"file", attachment.file},
                           {"sha256", attachment.sha256},
                           {"who", attachment.who}});
  }
  return {{"site", at.site},
          {"cabinet", at.cabinet},
          {"panel", at.panel},
          {"port", at.port},
          {"state", Word(status.state)},
          {"faces", std::move(faces)},
          {"attachments", std::move(attachments)}};
}

}  // namespace

const char* Word(FaceState state) {
  switch (state) {
    case FaceState::kPass:
      return "pass";
    case FaceState::kFail:
      return "fail";
    case FaceState::kRejected:
      return "rejected";
    case FaceState::kUngradable:
      return "cannot be graded";
    case FaceState::kNotInspected:
      break;
  }
  return "not inspected";
}

const char* Word(PortState state) {
  switch (state) {
    case PortState::kReady:
      return "ready";
    case PortState::kNotReady:
      return "not ready";
    case PortState::kToInspect:
      break;
  }
  return "to inspect";
}

// A store's row has a place for the port's name; the other levels stand in `cord`, apart by a
// character that no name may hold.
constexpr char kBetween = '/';

store::Face RowFaceOf(const Face& face, const std::string& kind, int attempt) {
  store::Face row;
  const Address& at = face.address;
  row.kind = kind;
  row.cord = at.site + kBetween + at.cabinet + kBetween + at.panel + kBetween + at.port;
  row.end = face.side;
  row.port = at.port;
  row.fibre = face.fibre;
  row.attempt = attempt;
  return row;
}

Face FaceOfRow(const store::Row& row) {
  Face face;
  std::size_t start = 0;
  for (auto* level : {&face.address.site, &face.address.cabinet, &face.address.panel}) {
    const std::size_t end = row.face.cord.find(kBetween, start);
    if (end == std::string::npos) break;
    *level = row.face.cord.substr(start, end - start);
    start = end + 1;
  }
  face.address.port = row.face.port;
  face.side = row.face.end;
  face.fibre = row.face.fibre;
  return face;
}

std::string OverlayOf(const std::string& photograph) {
  return (fs::path("overlays") /
          fs::path(photograph).lexically_relative("photographs").replace_extension(".jpg"))
      .generic_string();
}

Result<Status> StatusOf(const store::Store& store, const Plan& plan) {
  auto gathered = Gather(store);
  if (!gathered.ok()) return gathered.error();
  Status status;
  for (const Port& port : plan.ports) {
    status.ports.push_back(PortOf(port, plan.settings.LimitsOf(port.kind), &*gathered));
    const PortState state = status.ports.back().state;
    ++(state == PortState::kReady      ? status.num_ready
       : state == PortState::kNotReady ? status.num_not_ready
                                       : status.num_to_inspect);
  }
  for (const auto& [face, shots] : gathered->shots) {
    status.notes.push_back(
        face.Words() + " has " + std::to_string(shots.size()) +
        " photographs, but is not in the job file: they are kept and not counted");
  }
  for (const auto& [address, attachments] : gathered->attachments) {
    status.notes.push_back(address.Words() +
                           " has attachments, but is not in the job file: they are kept");
  }
  return status;
}

std::string StatusJson(const Plan& plan, const Status& status) {
  Json ports = Json::array();
  for (const PortStatus& port : status.ports) ports.push_back(PortJson(port));
  const Json json = {{"schema", "endgrade.job-status/1"},
                     {"job", plan.name},
                     {"ready", status.num_ready},
                     {"not_ready", status.num_not_ready},
                     {"to_inspect", status.num_to_inspect},
                     {"ports", std::move(ports)},
                     {"notes", status.notes}};
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace endgrade::job

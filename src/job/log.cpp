#include "job/log.h"

#include <nlohmann/json.hpp>

namespace endgrade::job {
namespace {

using Json = nlohmann::ordered_json;

std::string Line(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

// Throws nlohmann's exceptions.
Entry EntryOf(const store::RunEntry& run) {
  const Json json = Json::parse(run.event);
  Entry entry;
  entry.num_photographs = run.photographs;
  entry.at = run.at;
  entry.what = json.at("do").get<std::string>();
  entry.job_file_sha256 = json.at("job_file").get<std::string>();
  if (entry.what == "add") {
    entry.adding.who = json.at("who").get<std::string>();
    entry.adding.camera = json.at("camera").get<std::string>();
    auto settings = evidence::ParseSettings(json.at("settings").dump());
    if (settings.ok()) entry.adding.settings = *settings;
  }
  if (entry.what == "attach") {
    Attachment& attachment = entry.attachment;
    const Json& at = json.at("port");
    attachment.address = {at.at(0).get<std::string>(),
                          at.at(1).get<std::string>(),
                          at.at(2).get<std::string>(),
                          at.at(3).get<std::string>()};
    attachment.file = json.at("file").get<std::string>();
    attachment.name = json.at("name").get<std::string>();
    attachment.size_bytes = json.at("size_bytes").get<std::int64_t>();
    attachment.sha256 = json.at("sha256").get<std::string>();
    attachment.who = json.at("who").get<std::string>();
  }
  return entry;
}

}  // namespace

std::string NewEvent(const std::string& job_file_sha256) {
  return Line({{"do", "new"}, {"job_file", job_file_sha256}});
}

std::string AddEvent(const Adding& adding, const std::string& job_file_sha256) {
  return Line({{"do", "add"},
               {"who", adding.who},
               {"camera", adding.camera},
               {"settings", Json::parse(evidence::SettingsJson(adding.settings))},
               {"job_file", job_file_sha256}});
}

std::string AddedEvent(std::size_t num_added, const std::string& job_file_sha256) {
  return Line({{"do", "added"}, {"photographs", num_added}, {"job_file", job_file_sha256}});
}

std::string AttachEvent(const Attachment& attachment, const std::string& job_file_sha256) {
  const Address& at = attachment.address;
  return Line({{"do", "attach"},
               {"port", Json::array({at.site, at.cabinet, at.panel, at.port})},
               {"file", attachment.file},
               {"name", attachment.name},
               {"size_bytes", attachment.size_bytes},
               {"sha256", attachment.sha256},
               {"who", attachment.who},
               {"job_file", job_file_sha256}});
}

std::string ChangedEvent(const std::string& job_file_sha256) {
  return Line({{"do", "change"}, {"job_file", job_file_sha256}});
}

std::string SignEvent(const std::string& fingerprint, const std::string& job_file_sha256) {
  return Line({{"do", "sign"}, {"key", fingerprint}, {"job_file", job_file_sha256}});
}

Result<std::vector<Entry>> ReadLog(const store::Store& store) {
  const auto runs = store.Runs();
  if (!runs.ok()) return runs.error();
  std::vector<Entry> log;
  for (const store::RunEntry& run : *runs) {
    try {
      log.push_back(EntryOf(run));
    } catch (const nlohmann::json::exception&) {
      return Error{ErrorKind::kCorrupt,
                   store.path().string(),
                   0,
                   "entry " + std::to_string(run.seq) + " of the log is none of a job",
                   "Is this the store of a lot? Then look into it with `endgrade store`"};
    }
  }
  return log;
}

const Entry* AddingOf(const std::vector<Entry>& log, std::int64_t seq) {
  const Entry* found = nullptr;
  for (const Entry& entry : log) {
    if (entry.what == "add" && entry.num_photographs < seq) found = &entry;
  }
  return found;
}

}  // namespace endgrade::job

#include "job/plan.h"

#include <algorithm>

namespace endgrade::job {
namespace {

Error Refusal(std::string what, std::string remedy) {
  return {ErrorKind::kBadOption, "", 0, std::move(what), std::move(remedy)};
}

// A TOML basic string: quotation marks, backslashes and control characters escaped.
std::string Quoted(const std::string& text) {
  std::string quoted = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') quoted += '\\';
    quoted += static_cast<unsigned char>(c) < 0x20 ? ' ' : c;
  }
  return quoted + '"';
}

std::string List(const std::vector<std::string>& texts) {
  std::string list;
  for (const std::string& text : texts) list += (list.empty() ? "" : ", ") + Quoted(text);
  return "[" + list + "]";
}

}  // namespace

const Port* Plan::Find(const Address& address) const {
  const auto found = std::find_if(
      ports.begin(), ports.end(), [&](const Port& port) { return port.address == address; });
  return found == ports.end() ? nullptr : &*found;
}

Result<const Port*> Plan::Meant(const std::string& text) const {
  const Port* meant = nullptr;
  for (const Port& port : ports) {
    if (!port.address.IsMeantBy(text)) continue;
    if (meant) {
      return Refusal("port \"" + text + "\" could be " + meant->address.Words() + " or " +
                         port.address.Words(),
                     "Say more, like " + port.address.panel + "/" + port.address.port);
    }
    meant = &port;
  }
  if (meant) return meant;
  return Refusal("there is no port \"" + text + "\" in the job file",
                 "Add it to job.toml, or see the ports with `endgrade job status`");
}

Result<Face> Plan::FaceOf(const Port& port, const std::string& side, int fibre) const {
  std::string sides;
  for (const std::string& name : port.sides) sides += (sides.empty() ? "" : ", ") + name;
  std::string chosen = side;
  if (chosen.empty() && port.sides.size() == 1) chosen = port.sides.front();
  if (std::find(port.sides.begin(), port.sides.end(), chosen) == port.sides.end()) {
    return Refusal(port.address.Words() +
                       (chosen.empty() ? ": no side was given" : " has no side \"" + chosen + "\""),
                   "It has: " + sides);
  }
  if (fibre < 1 || fibre > port.fibres) {
    return Refusal(port.address.Words() + " has no fibre " + std::to_string(fibre),
                   "It has " + std::to_string(port.fibres) + ", by the job file");
  }
  return Face{port.address, chosen, fibre};
}

std::string FirstJobFile(const std::string& name,
                         const std::string& who,
                         const std::string& camera,
                         const std::string& limits,
                         const Address& panel,
                         const std::vector<std::string>& ports,
                         const std::vector<std::string>& sides) {
  std::string text =
      "# What this job asks for. Change it freely: every change is noted when the next photograph "
      "is added.\n"
      "schema = \"endgrade.job/1\"\n"
      "name = " +
      Quoted(name) +
      "\n"
      "who = " +
      Quoted(who) +
      "        # whose inspection this is\n"
      "camera = " +
      Quoted(camera) +
      "  # in words: make it findable in two years\n"
      "# camera_profile = \"bench-scope.toml\"  # of `endgrade camera learn`, in this folder\n"
      "# um_per_px = 0.5                      # where the scale is known\n"
      "# decision = \"guarded\"                # a marginal pass fails\n"
      "# pattern = \"{cord}-{side}[-{attempt}]\"  # of photographs' names; {cord} is the port\n\n"
      "[limits]\n"
      "default = " +
      Quoted(limits) +
      "  # or by a panel's kind: apc = \"sm-apc\"\n\n"
      "# One block a panel; a port has two sides where both faces of a mated pair are inspected.\n"
      "[[panel]]\n";
  if (!panel.site.empty()) text += "site = " + Quoted(panel.site) + "\n";
  if (!panel.cabinet.empty()) text += "cabinet = " + Quoted(panel.cabinet) + "\n";
  if (!panel.panel.empty()) text += "panel = " + Quoted(panel.panel) + "\n";
  text += "ports = " + List(ports) + "  # names, or \"01..12\"\n";
  text += "sides = " + List(sides) + "\n";
  return text + "# kind = \"apc\"\n# fibres = 1\n";
}

}  // namespace endgrade::job

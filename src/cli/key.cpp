#include "evidence/key.h"

#include "cli/error_line.h"
#include "cli/passphrase.h"
#include "cli/print.h"
#include "cli/verbs.h"
#include "endgrade/present.h"
#include "present/escape.h"

#include <cstdio>
#include <memory>
#include <string>

namespace endgrade::cli {
namespace {

struct KeyArguments {
  std::string out;
  std::string file;
  std::string passphrase_file;
  bool passphrase = false;
};

int New(const KeyArguments& arguments) {
  std::string passphrase;
  if (!arguments.passphrase_file.empty() || arguments.passphrase) {
    auto given = arguments.passphrase_file.empty() ? TypeNewPassphrase()
                                                   : PassphraseOfFile(arguments.passphrase_file);
    if (!given.ok()) return Refuse(given.error());
    passphrase = std::move(*given);
  }
  const auto key = evidence::SigningKey::New();
  if (!key.ok()) return Refuse(key.error());
  if (auto error = key->Write(arguments.out, passphrase)) return Refuse(*error);
  const std::string half = arguments.out + ".pub";
  if (auto error = WriteFileSafely(half, evidence::PublicKeyPem(key->Public()))) {
    return Refuse(*error);
  }
  Print(
      "Private key: " + PrintableText(arguments.out) +
      (passphrase.empty() ? " (not locked: whoever has this file can sign)" : " (locked)") +
      "\nPublic key:  " + PrintableText(half) + "\nIts hash:    " + key->Public().Fingerprint() +
      "\nKeep the first to yourself, outside any job. Give the second, or its hash, to whoever is "
      "to check.\n");
  return kAllPass;
}

int Show(const KeyArguments& arguments) {
  const auto key = evidence::ReadPublicKey(arguments.file);
  if (!key.ok()) return Refuse(key.error());
  Print(key->Fingerprint() + "\n");
  return kAllPass;
}

}  // namespace

void AddKey(CLI::App& app, int* exit_code) {
  auto arguments = std::make_shared<KeyArguments>();
  CLI::App* verb = app.add_subcommand("key", "A key of your own, to sign jobs with");
  verb->require_subcommand(1);
  verb->footer("Example:\n  endgrade key new --out my-key.pem");

  CLI::App* make = verb->add_subcommand("new", "Make a key (Ed25519)");
  make->add_option("--out", arguments->out, "File of the private key; FILE.pub gets the public one")
      ->required()
      ->type_name("FILE");
  CLI::Option* typed =
      make->add_flag("--passphrase", arguments->passphrase, "Lock it by a passphrase, typed");
  make->add_option("--passphrase-file", arguments->passphrase_file, "Lock it by this file's line")
      ->type_name("FILE")
      ->excludes(typed);
  make->footer(
      "Example:\n  endgrade key new --out my-key.pem --passphrase\n\n"
      "A signature proves that somebody held the key. That the key is yours, others know only "
      "from\n"
      "you. Exit codes: 0 made, 2 it could not be.");
  make->callback([=] { *exit_code = New(*arguments); });

  CLI::App* show = verb->add_subcommand("show", "The hash of a key, to compare");
  show->add_option("FILE", arguments->file, "A public key, or a private one without passphrase")
      ->required()
      ->type_name("");
  show->footer("Example:\n  endgrade key show my-key.pem.pub");
  show->callback([=] { *exit_code = Show(*arguments); });
}

}  // namespace endgrade::cli

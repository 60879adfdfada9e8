// What commands and options are called and what they do: the one source that the parser, --help,
// the manual pages and the shells' completion are made of.
#pragma once

#include <string>
#include <vector>

#include "kilter/commands/run.h"
#include "options.h"

namespace kilter::commands {

/// What follows an option, for whoever offers it.
enum class Takes { nothing, text, number, file, folder, one_of };

struct OptionWords {
  std::string name{};  ///< "--limit-ms"
  Takes takes{Takes::nothing};
  std::string value{};     ///< what --help calls it: "X"; empty where it takes nothing
  std::string group{};     ///< heading
  std::string about{};     ///< a short line, with the unit
  std::string standard{};  ///< what holds without the option; empty where that goes without saying
  std::string more{};      ///< sentences for the manual; may be empty
  /// one_of: all that it takes; else some that it takes among others.
  std::vector<std::string> choices{};
  bool required{false};
};

struct ExampleWords {
  std::string line{};  ///< for a shell
  std::string does{};  ///< what becomes of it: a sentence without a capital and a full stop
};

struct NamedWords {
  std::string name{};
  std::string about{};
};

struct CommandWords {
  Command command;
  std::string name{};
  std::string about{};               ///< a sentence
  std::string operand{"SESSION"};    ///< what --help calls what it works on
  std::string session{};             ///< what the operand is to it
  std::vector<std::string> story{};  ///< paragraphs for the manual
  std::vector<OptionWords> options{};
  std::vector<NamedWords> files{};  ///< what it writes, or reads beside the session
  std::string exit_one{};           ///< when it exits with 1
  std::vector<ExampleWords> examples{};
};

struct ExitWords {
  Exit exit;
  std::string meaning;
  std::string next;  ///< what to do then
};

/// In the order in which people meet them.
const std::vector<CommandWords>& command_words();
/// Of the program itself.
const std::vector<OptionWords>& program_option_words();
const std::vector<ExitWords>& exit_words();
/// What surrounds the program: variables that it reads.
const std::vector<NamedWords>& environment_words();

/// Of commands, or of options.
std::vector<std::string> names_of(const auto& words) {
  std::vector<std::string> names;
  names.reserve(words.size());
  for (const auto& each : words) names.push_back(each.name);
  return names;
}

/// Headings in the order of their first option.
std::vector<std::string> groups_of(const std::vector<OptionWords>& options);

/// "SESSION...", or "ARCHIVE", of which there is one.
std::string operand_text(const CommandWords& command);
/// "kilter conform SESSION... --out DIR [OPTION...]"
std::string usage_text(const CommandWords& command);

}  // namespace kilter::commands

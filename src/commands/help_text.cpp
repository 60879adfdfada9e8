#include "help_text.h"

#include <algorithm>
#include <array>

#include "kilter/report/text_table.h"

namespace kilter::commands {
namespace {

using report::kTerminalColumns;

/// A name and, from a common column on, what it is.
std::string entry(const std::string& name, const std::string& about) {
  constexpr std::size_t kColumn = 22;
  const std::string start =
      "  " + name + std::string(kColumn - std::min(kColumn - 2, name.size() + 2), ' ');
  return report::wrapped(start + about, kTerminalColumns, static_cast<int>(start.size())) + '\n';
}

std::string about(const OptionWords& option) {
  return option.about + (option.standard.empty() ? "" : " [" + option.standard + ']') +
         (option.required ? " [required]" : "");
}

std::string option_entries(const std::vector<OptionWords>& options) {
  std::string text;
  for (const std::string& group : groups_of(options)) {
    text += '\n' + group + ":\n";
    for (const OptionWords& option : options)
      if (option.group == group)
        text +=
            entry(option.name + (option.value.empty() ? "" : ' ' + option.value), about(option));
  }
  return text;
}

std::string example_entries(const std::vector<ExampleWords>& examples) {
  std::string text = "\nExamples:\n";
  for (const ExampleWords& example : examples) {
    text += "  " + example.line + '\n';
    text += report::wrapped("      " + example.does, kTerminalColumns, 6) + '\n';
  }
  return text;
}

/// A typical example of each command that follows the survey.
std::vector<ExampleWords> first_examples() {
  std::vector<ExampleWords> examples;
  for (const CommandWords& command : command_words())
    if (command.command != Command::survey) examples.push_back(command.examples.front());
  return examples;
}

}  // namespace

std::string program_help() {
  std::string text =
      "Lines up the tracks of a show with its mixdown.\n"
      "Usage: kilter COMMAND SESSION... [OPTION...]\n"
      "\nCommands:\n";
  for (const CommandWords& command : command_words()) text += entry(command.name, command.about);
  text += option_entries(program_option_words()) + example_entries(first_examples());
  text += "\nExit codes:\n";
  for (const ExitWords& exit : exit_words())
    text += entry(std::to_string(static_cast<int>(exit.exit)), exit.meaning);
  return text + "\nkilter COMMAND --help tells a command's options, man kilter-COMMAND more.\n";
}

std::string command_help(const CommandWords& command) {
  return command.about + "\nUsage: " + usage_text(command) +
         (command.command == Command::batch ? "\n\nArchive:\n" : "\n\nSession:\n") +
         entry(operand_text(command), command.session) + option_entries(command.options) +
         example_entries(command.examples);
}

}  // namespace kilter::commands

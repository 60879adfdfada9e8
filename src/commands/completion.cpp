#include "completion.h"

#include <string_view>

#include "shell_words.h"
#include "words.h"

namespace kilter::commands {
namespace {

constexpr const char* kNote = "# made from what the program says of itself: not to be edited\n";

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : " ") + word;
  return text;
}

/// What bash does with the word behind an option.
std::string bash_value(const CommandWords& command, const OptionWords& option) {
  std::string text = "    " + command.name + option.name + ") ";
  if (!option.choices.empty())
    text += "_kilter_offer " + in_quotes(joined(option.choices));
  else if (option.takes == Takes::folder)
    text += "compopt -o dirnames +o default 2>/dev/null";
  else if (option.takes == Takes::file)
    text += ":";
  else
    text += "compopt +o default 2>/dev/null";
  return text + "; return ;;\n";
}

/// A description as zsh takes it within an option's specification.
std::string zsh_about(std::string_view about) {
  std::string result;
  for (const char letter : about) {
    if (letter == '[' || letter == ']' || letter == ':' || letter == '\\') result += '\\';
    result += letter;
  }
  return result;
}

std::string zsh_action(const OptionWords& option) {
  if (!option.choices.empty()) return '(' + joined(option.choices) + ')';
  if (option.takes == Takes::folder) return "_files -/";
  return option.takes == Takes::file ? "_files" : " ";
}

std::string zsh_option(const OptionWords& option) {
  const std::string about = '[' + zsh_about(option.about) + ']';
  if (option.name == "--help")
    return in_quotes("(- *)-h" + about) + ' ' + in_quotes("(- *)--help" + about);
  if (option.takes == Takes::nothing) return in_quotes(option.name + about);
  return in_quotes(option.name + '=' + about + ':' + option.value + ':' + zsh_action(option));
}

std::string fish_option(const OptionWords& option, const std::string& where) {
  std::string text = "complete -c kilter -n " + in_quotes(where) + " -l " + option.name.substr(2);
  if (option.name == "--help") text += " -s h";
  if (!option.choices.empty())
    text += " -x -a " + in_quotes(joined(option.choices));
  else if (option.takes == Takes::folder)
    text += " -x -a " + in_quotes("(__fish_complete_directories (commandline -ct))");
  else if (option.takes == Takes::file)
    text += " -r -F";
  else if (option.takes != Takes::nothing)
    text += " -x";
  return text + " -d " + in_quotes(option.about) + '\n';
}

}  // namespace

std::string bash_completion() {
  std::string text = kNote;
  // Of a word that is parted at "=" the shell hands over three.
  text +=
      "_kilter_offer() {\n"
      "  local IFS=$' \\n'\n"
      "  compopt +o default 2>/dev/null\n"
      "  COMPREPLY=($(compgen -W \"$1\" -- \"$current\"))\n"
      "}\n\n"
      "_kilter() {\n"
      "  local current=${COMP_WORDS[COMP_CWORD]} before='' command='' options='' i\n"
      "  COMPREPLY=()\n"
      "  [ \"$COMP_CWORD\" -lt 1 ] || before=${COMP_WORDS[COMP_CWORD - 1]}\n"
      "  if [ \"$current\" = = ]; then\n"
      "    current=''\n"
      "  elif [ \"$before\" = = ] && [ \"$COMP_CWORD\" -ge 2 ]; then\n"
      "    before=${COMP_WORDS[COMP_CWORD - 2]}\n"
      "  fi\n"
      "  [ \"$COMP_CWORD\" -lt 2 ] || command=${COMP_WORDS[1]}\n"
      "  case $command$before in\n";
  for (const CommandWords& command : command_words())
    for (const OptionWords& option : command.options)
      if (option.takes != Takes::nothing) text += bash_value(command, option);
  text += "  esac\n  case $command in\n";
  for (const CommandWords& command : command_words())
    text += "    " + command.name + ") options=" + in_quotes(joined(names_of(command.options))) +
            " ;;\n";
  text += "    '') _kilter_offer " +
          in_quotes(joined(names_of(command_words())) + ' ' +
                    joined(names_of(program_option_words()))) +
          "; return ;;\n"
          "  esac\n"
          "  case $current in\n"
          "    -*) _kilter_offer \"$options\" ;;\n"
          "  esac\n"
          "}\n\n"
          "complete -o bashdefault -o default -F _kilter kilter\n";
  return text;
}

std::string zsh_completion() {
  std::string text = std::string("#compdef kilter\n") + kNote +
                     "_kilter() {\n"
                     "  local curcontext=$curcontext state line\n"
                     "  typeset -A opt_args\n"
                     "  local -a commands\n"
                     "  commands=(\n";
  for (const CommandWords& command : command_words())
    text += "    " + in_quotes(command.name + ':' + zsh_about(command.about)) + '\n';
  text += "  )\n  _arguments -C \\\n";
  for (const OptionWords& option : program_option_words())
    text += "    " + zsh_option(option) + " \\\n";
  text +=
      "    '1:command:->command' '*::session:->session' && return\n"
      "  case $state in\n"
      "    command) _describe command commands ;;\n"
      "    session)\n"
      "      curcontext=\"${curcontext%:*:*}:kilter-$words[1]:\"\n"
      "      case $words[1] in\n";
  for (const CommandWords& command : command_words()) {
    text += "        " + command.name + ")\n          _arguments \\\n";
    for (const OptionWords& option : command.options)
      text += "            " + zsh_option(option) + " \\\n";
    text += "            '*:session:_files' ;;\n";
  }
  return text +
         "      esac ;;\n"
         "  esac\n"
         "}\n\n"
         "_kilter \"$@\"\n";
}

std::string fish_completion() {
  std::string text = kNote;
  for (const CommandWords& command : command_words())
    text += "complete -c kilter -n __fish_use_subcommand -f -a " + command.name + " -d " +
            in_quotes(command.about) + '\n';
  for (const OptionWords& option : program_option_words())
    text += fish_option(option, "__fish_use_subcommand");
  for (const CommandWords& command : command_words())
    for (const OptionWords& option : command.options)
      text += fish_option(option, "__fish_seen_subcommand_from " + command.name);
  return text;
}

}  // namespace kilter::commands

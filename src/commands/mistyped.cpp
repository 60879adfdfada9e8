#include "mistyped.h"

#include <algorithm>
#include <cctype>
#include <numeric>

namespace kilter::commands {
namespace {

/// In small letters, without dashes at the front.
std::string bare(std::string_view text) {
  text.remove_prefix(std::min(text.find_first_not_of('-'), text.size()));
  std::string result(text);
  for (char& letter : result)
    letter = static_cast<char>(std::tolower(static_cast<unsigned char>(letter)));
  return result;
}

/// How many letters must be put in, taken out, exchanged, or swapped with their neighbour.
std::size_t distance(const std::string& one, const std::string& other) {
  std::vector<std::size_t> before_last;
  std::vector<std::size_t> last(other.size() + 1);
  std::iota(last.begin(), last.end(), std::size_t{0});
  for (std::size_t i = 1; i <= one.size(); ++i) {
    std::vector<std::size_t> row(other.size() + 1, i);
    for (std::size_t j = 1; j <= other.size(); ++j) {
      const std::size_t exchanged = last[j - 1] + (one[i - 1] == other[j - 1] ? 0 : 1);
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, exchanged});
      if (i > 1 && j > 1 && one[i - 1] == other[j - 2] && one[i - 2] == other[j - 1])
        row[j] = std::min(row[j], before_last[j - 2] + 1);
    }
    before_last = std::move(last);
    last = std::move(row);
  }
  return last.back();
}

/// The commands that have an option.
std::vector<std::string> commands_with(const std::string& option) {
  std::vector<std::string> names;
  for (const CommandWords& command : command_words())
    for (const OptionWords& each : command.options)
      if (each.name == option) names.push_back(command.name);
  return names;
}

}  // namespace

std::optional<std::string> nearest(std::string_view typed, const std::vector<std::string>& names) {
  const std::string text = bare(typed);
  if (text.empty()) return {};
  std::vector<std::string> starts;
  for (const std::string& name : names)
    if (bare(name).starts_with(text)) starts.push_back(name);
  if (starts.size() == 1) return starts.front();
  std::optional<std::string> best;
  std::size_t least = text.size() / 3 + 1;  // one more than is permitted
  for (const std::string& name : names) {
    const std::size_t here = distance(text, bare(name));
    if (here == least) best.reset();
    if (here >= least) continue;
    least = here;
    best = name;
  }
  return best;
}

std::string listed(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (i > 0) text += i + 1 == names.size() ? " or " : ", ";
    text += names[i];
  }
  return text;
}

std::string as_typed(const std::string& rest, std::span<const std::string> args) {
  for (const std::string& arg : args)
    if (arg == rest || arg.starts_with(rest + '=')) return rest.substr(0, rest.find('='));
  // Of several letters behind one dash it keeps those that it does not know.
  for (const std::string& arg : args)
    if (arg.starts_with('-') && !arg.starts_with("--") && arg.ends_with(bare(rest))) return arg;
  return rest;
}

Error unknown_command(const std::string& typed) {
  const auto meant = nearest(typed, names_of(command_words()));
  return {ErrorKind::bad_command,
          {},
          "there is no command \"" + typed + '"',
          meant ? "did you mean " + *meant + "? kilter --help lists all"
                : "use " + listed(names_of(command_words()))};
}

Error unknown_option_error(const std::string& typed, const CommandWords* command) {
  const std::string help =
      command == nullptr ? "kilter --help" : "kilter " + command->name + " --help";
  Error error{ErrorKind::bad_command, {}, "unknown option: " + typed, "read " + help};
  const auto meant =
      nearest(typed, names_of(command == nullptr ? program_option_words() : command->options));
  if (meant) {
    error.next_step = "did you mean " + *meant + "? " + help + " lists all";
  } else if (const auto others = commands_with(typed); !others.empty()) {
    error.what =
        typed + " is no option of kilter" + (command == nullptr ? "" : ' ' + command->name);
    error.next_step = "it belongs to " + listed(others) + "; read " + help;
  }
  return error;
}

}  // namespace kilter::commands

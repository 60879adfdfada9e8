// kilter-describe WHAT: prints what is installed beside the program and made from its own words.
// WHAT is a page (kilter, kilter-align ..) or a shell (bash, zsh, fish). Not installed.
#include <iostream>
#include <optional>
#include <string>

#include "completion.h"
#include "manual.h"

namespace {

using namespace kilter::commands;

std::optional<std::string> described(const std::string& what) {
  if (what == "bash") return bash_completion();
  if (what == "zsh") return zsh_completion();
  if (what == "fish") return fish_completion();
  if (what == "kilter") return program_manual();
  for (const CommandWords& command : command_words())
    if (what == "kilter-" + command.name) return command_manual(command);
  return {};
}

}  // namespace

int main(int argc, char** argv) {
  const auto text = argc == 2 ? described(argv[1]) : std::nullopt;
  if (!text) {
    std::cerr << "kilter-describe: give one page or shell\n";
    return 2;
  }
  std::cout << *text << std::flush;
  return std::cout ? 0 : 4;
}

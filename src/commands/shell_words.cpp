#include "shell_words.h"

namespace kilter::commands {

std::string in_quotes(std::string_view text) {
  std::string result = "'";
  for (const char letter : text) result += letter == '\'' ? "'\\''" : std::string(1, letter);
  return result + '\'';
}

std::string shell_word(std::string_view word) {
  constexpr const char* kPlain =
      "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789%+,-./:=@_";
  if (!word.empty() && word.find_first_not_of(kPlain) == std::string_view::npos)
    return std::string(word);
  return in_quotes(word);
}

}  // namespace kilter::commands

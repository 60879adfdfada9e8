#include "support/ffmpeg_tool.h"

#include <cstdlib>
#include <sstream>

namespace kilter::test {
namespace {

std::string quoted(const std::string& text) {
  std::string result = "'";
  for (const char letter : text)
    result += letter == '\'' ? std::string("'\\''") : std::string(1, letter);
  return result + "'";
}

}  // namespace

bool has_ffmpeg() {
  static const bool has = std::system("ffmpeg -version >/dev/null 2>&1") == 0;  // NOLINT
  return has;
}

bool run_ffmpeg(const std::vector<std::string>& arguments) {
  std::string command = "ffmpeg -nostdin -y -hide_banner -loglevel error";
  for (const std::string& argument : arguments) command += ' ' + quoted(argument);
  return std::system(command.c_str()) == 0;  // NOLINT: words of ours
}

std::vector<std::string> words_of(const std::string& text) {
  std::istringstream stream(text);
  std::vector<std::string> words;
  for (std::string word; stream >> word;) words.push_back(word);
  return words;
}

bool code_with_ffmpeg(const std::filesystem::path& from, const std::string& options,
                      const std::filesystem::path& to) {
  std::vector<std::string> arguments{"-i", from.string()};
  for (std::string& word : words_of(options)) arguments.push_back(std::move(word));
  arguments.insert(arguments.end(), {"-fflags", "+bitexact", to.string()});
  return run_ffmpeg(arguments);
}

}  // namespace kilter::test

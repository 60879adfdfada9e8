// The ffmpeg command, as a maker of test files that knows nothing of our readers.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace kilter::test {

bool has_ffmpeg();
/// `arguments` go between "ffmpeg -y" and the end, each quoted. Whether it succeeded.
bool run_ffmpeg(const std::vector<std::string>& arguments);
/// "-c:a aac -b:a 64k" as arguments.
std::vector<std::string> words_of(const std::string& text);
/// Codes `from` as `to`, with `options` in between.
bool code_with_ffmpeg(const std::filesystem::path& from, const std::string& options,
                      const std::filesystem::path& to);

}  // namespace kilter::test

#include <algorithm>
#include <array>
#include <set>
#include <string>
#include <string_view>

#include "kilter/base/name_key.h"
#include "kilter/base/utf8.h"
#include "kilter/conform/conform.h"

namespace kilter::conform {
namespace {

// Room for an ending, a number and ".part" below the 255 bytes that file systems take.
constexpr std::size_t kLongestName = 200;

bool is_legal(const Utf8Letter& letter) {
  if (!letter.valid || is_control(letter.code)) return false;
  return letter.code > 0x7F ||
         std::string_view("/\\:*?\"<>|").find(static_cast<char>(letter.code)) ==
             std::string_view::npos;
}

std::string with_legal_letters(std::string_view name) {
  std::string legal;
  while (!name.empty()) {
    const Utf8Letter letter = first_letter(name);
    if (legal.size() + letter.bytes > kLongestName) break;
    if (is_legal(letter))
      legal += name.substr(0, letter.bytes);
    else
      legal += '_';
    name.remove_prefix(letter.bytes);
  }
  return legal;
}

/// Names that some systems keep for devices, whatever the ending.
bool is_reserved(const std::string& name) {
  std::string key = name.substr(0, name.find('.'));
  for (char& letter : key)
    if (letter >= 'A' && letter <= 'Z') letter = static_cast<char>(letter - 'A' + 'a');
  constexpr std::array<std::string_view, 4> kDevices{"con", "prn", "aux", "nul"};
  if (std::find(kDevices.begin(), kDevices.end(), key) != kDevices.end()) return true;
  const bool port = key.size() == 4 && (key.starts_with("com") || key.starts_with("lpt"));
  return port && key[3] >= '0' && key[3] <= '9';
}

std::string safe_file_name(const std::string& track_name) {
  std::string name = with_legal_letters(track_name);
  name.erase(0, std::min(name.find_first_not_of(". "), name.size()));
  name.erase(name.find_last_not_of(". ") + 1);
  if (name.empty()) return "track";
  if (name.front() == '-') name.front() = '_';  // or commands take it for an option
  return is_reserved(name) ? '_' + name : name;
}

}  // namespace

std::vector<std::string> safe_file_names(const std::vector<std::string>& track_names) {
  std::set<std::u32string> taken;
  std::vector<std::string> names;
  for (const std::string& track_name : track_names) {
    const std::string wanted = safe_file_name(track_name);
    std::string name = wanted;
    for (int i = 2; !taken.insert(name_key(name)).second; ++i)
      name = wanted + '-' + std::to_string(i);
    names.push_back(name);
  }
  return names;
}

}  // namespace kilter::conform

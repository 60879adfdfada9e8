#include <algorithm>
#include <array>
#include <cstdint>
#include <set>
#include <string>
#include <string_view>

#include "kilter/base/utf8.h"
#include "kilter/conform/conform.h"

namespace kilter::conform {
namespace {

// Room for an ending, a number and ".part" below the 255 bytes that file systems take.
constexpr std::size_t kLongestName = 200;

bool is_legal(const Utf8Letter& letter) {
  if (!letter.valid || letter.code < 0x20 || letter.code == 0x7F) return false;
  return letter.code > 0x7F ||
         std::string_view("/\\:*?\"<>|").find(static_cast<char>(letter.code)) ==
             std::string_view::npos;
}

/// Small letters for capital ones, in the scripts whose case file systems fold most.
std::uint32_t folded(std::uint32_t code) {
  struct Capitals {
    std::uint32_t first, last, distance;
  };
  constexpr std::array kCapitals{Capitals{'A', 'Z', 0x20},     Capitals{0xC0, 0xD6, 0x20},
                                 Capitals{0xD8, 0xDE, 0x20},   Capitals{0x391, 0x3A9, 0x20},
                                 Capitals{0x400, 0x40F, 0x50}, Capitals{0x410, 0x42F, 0x20}};
  for (const Capitals& row : kCapitals)
    if (code >= row.first && code <= row.last) return code + row.distance;
  const bool paired = code >= 0x100 && code <= 0x17F;  // mostly capital and small by turns
  return paired ? code | 1U : code;
}

std::u32string folded(std::string_view name) {
  std::u32string key;
  while (!name.empty()) {
    const Utf8Letter letter = first_letter(name);
    key += static_cast<char32_t>(folded(static_cast<std::uint32_t>(letter.code)));
    name.remove_prefix(letter.bytes);
  }
  return key;
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
  const std::u32string key = folded(name.substr(0, name.find('.')));
  constexpr std::array<std::u32string_view, 4> kDevices{U"con", U"prn", U"aux", U"nul"};
  if (std::find(kDevices.begin(), kDevices.end(), key) != kDevices.end()) return true;
  const bool port = key.size() == 4 && (key.substr(0, 3) == U"com" || key.substr(0, 3) == U"lpt");
  return port && key[3] >= U'0' && key[3] <= U'9';
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
    for (int i = 2; !taken.insert(folded(name)).second; ++i)
      name = wanted + '-' + std::to_string(i);
    names.push_back(name);
  }
  return names;
}

}  // namespace kilter::conform

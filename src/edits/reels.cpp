#include "reels.h"

#include <algorithm>
#include <array>
#include <filesystem>
#include <string_view>

#include "plain_text.h"

namespace kilter::edits {
namespace {

constexpr std::size_t kLongest = 8;
constexpr std::array<std::string_view, 5> kReserved{"AX", "BARS", "BL", "BLACK", "NONE"};

bool is_letter(char each) { return each >= 'A' && each <= 'Z'; }

std::string wanted_reel(const std::string& file) {
  std::string reel;
  for (const char each : upper_case(std::filesystem::path(file).stem().string()))
    if (is_letter(each) || (each >= '0' && each <= '9')) reel += each;
  if (reel.empty()) return "FILE";
  if (!is_letter(reel.front())) reel = 'F' + reel;
  return reel.substr(0, kLongest);
}

}  // namespace

const std::string& Reels::of(const std::string& file) {
  const auto [entry, is_new] = by_file_.try_emplace(file);
  if (!is_new) return entry->second;
  const std::string wanted = wanted_reel(file);
  std::string reel = wanted;
  const auto is_free = [&](const std::string& name) {
    return std::find(kReserved.begin(), kReserved.end(), name) == kReserved.end() &&
           taken_.count(name) == 0;
  };
  for (int i = 2; !is_free(reel); ++i) {
    const std::string number = std::to_string(i);
    reel = wanted.substr(0, kLongest - number.size()) + number;
  }
  taken_.insert(reel);
  return entry->second = reel;
}

}  // namespace kilter::edits

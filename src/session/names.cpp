#include "kilter/session/names.h"

#include <algorithm>
#include <array>
#include <set>

namespace kilter::session {
namespace {

constexpr std::array<std::string_view, 7> kSureWords{"mix",       "mixdown",   "mixed", "program",
                                                     "programme", "premaster", "bounce"};
constexpr std::array<std::string_view, 3> kPerhapsWords{"master", "full", "cloud"};

// Behind these a number tells persons apart, and alone they name nobody.
constexpr std::array<std::string_view, 16> kAnybody{
    "guest", "mic",    "track",   "tr",     "ch",   "channel", "input", "in",
    "voice", "person", "speaker", "remote", "host", "caller",  "line",  "rec"};
constexpr std::array<std::string_view, 8> kTakeWords{
    "take", "part", "reconnect", "reconnected", "rejoin", "rejoined", "again", "retake"};

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }
char lower_letter(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

/// Runs of ASCII letters. Bytes beyond ASCII belong to a word: they are letters somewhere.
std::vector<std::string> words_of(std::string_view stem) {
  std::vector<std::string> words;
  bool inside = false;
  for (const char c : stem) {
    const bool letter = is_letter(c) || static_cast<unsigned char>(c) >= 0x80;
    if (letter && !inside) words.emplace_back();
    if (letter) words.back() += lower_letter(c);
    inside = letter;
  }
  return words;
}

template <std::size_t N>
bool is_one_of(const std::string& word, const std::array<std::string_view, N>& words) {
  return std::find(words.begin(), words.end(), word) != words.end();
}

/// Moves `at` over a number and returns its digits without leading zeros.
std::string_view take_number(std::string_view text, std::size_t& at) {
  while (at + 1 < text.size() && text[at] == '0' && is_digit(text[at + 1])) ++at;
  const std::size_t from = at;
  while (at < text.size() && is_digit(text[at])) ++at;
  return text.substr(from, at - from);
}

/// Letters added, left out or changed between two texts.
std::size_t letters_between(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) row[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t changed = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
      diagonal = row[j];
      row[j] = std::min({changed, row[j] + 1, row[j - 1] + 1});
    }
  }
  return row.back();
}

bool is_separator(char c) {
  return c == ' ' || c == '-' || c == '_' || c == '.' || c == '(' || c == ')' || c == '#';
}

std::string_view without_separators_behind(std::string_view text) {
  while (!text.empty() && is_separator(text.back())) text.remove_suffix(1);
  return text;
}

std::string_view without_number_behind(std::string_view text) {
  while (!text.empty() && is_digit(text.back())) text.remove_suffix(1);
  return text;
}

/// The text without the last word, if that is one of those that mark takes.
std::string_view without_take_word(std::string_view text) {
  std::size_t from = text.size();
  while (from > 0 && is_letter(text[from - 1])) --from;
  return is_one_of(lower(text.substr(from)), kTakeWords) ? text.substr(0, from) : text;
}

}  // namespace

std::string lower(std::string_view text) {
  std::string result(text);
  for (char& c : result) c = lower_letter(c);
  return result;
}

MixWord mix_word(std::string_view stem) {
  const std::vector<std::string> words = words_of(stem);
  MixWord found = MixWord::no;
  for (std::size_t i = 0; i < words.size(); ++i) {
    // A mix-minus is what a guest hears: the mix without that guest.
    if (i + 1 < words.size() && words[i + 1] == "minus") continue;
    if (is_one_of(words[i], kSureWords)) return MixWord::yes;
    if (is_one_of(words[i], kPerhapsWords)) found = MixWord::perhaps;
  }
  return found;
}

bool comes_before(std::string_view a, std::string_view b) {
  std::size_t i = 0;
  std::size_t j = 0;
  while (i < a.size() && j < b.size()) {
    if (is_digit(a[i]) && is_digit(b[j])) {
      const std::string_view x = take_number(a, i);
      const std::string_view y = take_number(b, j);
      if (x.size() != y.size()) return x.size() < y.size();
      if (x != y) return x < y;
      continue;
    }
    const char x = lower_letter(a[i++]);
    const char y = lower_letter(b[j++]);
    if (x != y) return static_cast<unsigned char>(x) < static_cast<unsigned char>(y);
  }
  if (i < a.size() || j < b.size()) return i == a.size();
  return a < b;
}

std::vector<std::string> made_unique(std::vector<std::string> names) {
  std::set<std::string> wanted;
  for (const std::string& name : names) wanted.insert(lower(name));
  std::set<std::string> used;
  for (std::string& name : names) {
    std::string unique = name;
    // A made-up name must not take the place of one that stands further down.
    for (int n = 2; used.contains(lower(unique)) || (n > 2 && wanted.contains(lower(unique))); ++n)
      unique = name + '-' + std::to_string(n);
    used.insert(lower(unique));
    name = unique;
  }
  return names;
}

std::string voice_of_take(std::string_view name) {
  const std::string_view whole = without_separators_behind(name);
  const std::string_view unnumbered = without_separators_behind(without_number_behind(whole));
  const std::string_view voice = without_separators_behind(without_take_word(unnumbered));
  const bool has_take_word = voice.size() < unnumbered.size();
  const std::vector<std::string> words = words_of(voice);
  // Letters right before a number are part of a name: "take2" is a take, "r2" is somebody.
  const bool is_apart = unnumbered.size() < without_number_behind(whole).size();
  if (words.empty()) return std::string(name);
  if (has_take_word) return std::string(voice);
  if (!is_apart || is_one_of(words.back(), kAnybody)) return std::string(whole);
  return std::string(unnumbered);
}

std::optional<std::string_view> nearest_name(std::string_view written,
                                             std::span<const std::string_view> known) {
  std::optional<std::string_view> nearest;
  std::size_t least = std::max<std::size_t>(1, written.size() / 3) + 1;
  for (const std::string_view name : known) {
    const std::size_t letters = letters_between(lower(written), lower(name));
    if (letters >= least) continue;
    least = letters;
    nearest = name;
  }
  return nearest;
}

}  // namespace kilter::session

#include "kilter/session/split_takes.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <optional>
#include <set>

#include "kilter/session/names.h"
#include "kilter/signal/continuity.h"
#include "session_files.h"

namespace kilter::session {
namespace {

constexpr Frames kEnds{4096};

// In nats, as what the sound says. It says up to 15 for each channel, and the last word is its.
constexpr double kMostOfSound = 30.0;
constexpr double kStampsGoOn = 10.0;
constexpr double kStampsSayOtherwise = -6.0;
constexpr double kStartTogether = -20.0;  // two mics of one recorder
constexpr double kFull = 5.0;             // the first is as large as a disk or a header allows
constexpr double kFirstIsLonger = 1.0;
constexpr double kEqualLengths = -6.0;  // by chance once in as many frames, of two mics always
constexpr double kSecondIsLonger = -4.0;
constexpr double kBelieved = 4.0;
constexpr double kSeries = 8.0;  // files before and behind are one take already

// Recorders round the start of a file to a frame of picture, if not to a second.
constexpr double kTogether_s = 0.5;

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// A name's letters and its numbers, apart.
struct NameParts {
  std::vector<std::string> texts;  // one more than numbers
  std::vector<std::string> numbers;
};

NameParts parts_of(std::string_view name) {
  NameParts parts;
  parts.texts.emplace_back();
  bool in_number = false;
  for (const char c : name) {
    if (is_digit(c) && !in_number) parts.numbers.emplace_back();
    if (!is_digit(c) && in_number) parts.texts.emplace_back();
    in_number = is_digit(c);
    (in_number ? parts.numbers.back() : parts.texts.back()) += c;
  }
  if (in_number) parts.texts.emplace_back();
  return parts;
}

/// Nothing where it is too long to be a count of files.
std::optional<long> value_of(const std::string& digits) {
  constexpr std::size_t kMostDigits = 9;
  if (digits.size() > kMostDigits) return std::nullopt;
  return std::stol(digits);
}

/// Nothing where the second does not count on from the first.
std::optional<long> numbers_between(const std::string& first, const std::string& second) {
  const auto a = value_of(first);
  const auto b = value_of(second);
  // Padded alike, or not padded at all: "9" before "10", "0009" before "0010".
  const bool alike = first.size() == second.size() || second.front() != '0';
  if (!a || !b || *b <= *a || !alike) return std::nullopt;
  return *b - *a - 1;
}

/// Where disks of old and headers end, less what a recorder leaves free there.
bool is_full(std::uintmax_t bytes) {
  constexpr std::array<double, 3> kLimits{1073741824.0, 2147483648.0, 4294967296.0};
  const auto size = static_cast<double>(bytes);
  return std::any_of(kLimits.begin(), kLimits.end(),
                     [&](double limit) { return size > 0.97 * limit && size < 1.001 * limit; });
}

bool start_together(const media::FileEnds& first, const media::FileEnds& second) {
  const double apart_s = second.stamp->of_day_s() - first.stamp->of_day_s();
  return std::fabs(apart_s) < std::min(kTogether_s, 0.5 * to_seconds(first.length, first.rate).s);
}

/// Whether the second's stamp is where the first ends. Over midnight a new day's count begins.
bool stamps_go_on(const media::FileEnds& first, const media::FileEnds& second) {
  const double apart_s = second.stamp->of_day_s() - first.stamp->of_day_s();
  const double off_s = std::remainder(apart_s - to_seconds(first.length, first.rate).s, 86400.0);
  return std::fabs(off_s) < kTogether_s;
}

double stamp_score(const media::FileEnds& first, const media::FileEnds& second) {
  if (start_together(first, second)) return kStartTogether;
  return stamps_go_on(first, second) ? kStampsGoOn : kStampsSayOtherwise;
}

double length_score(const media::FileEnds& first, const media::FileEnds& second,
                    bool second_goes_on) {
  if (is_full(first.bytes)) return kFull;
  if (second.length > first.length) return kSecondIsLonger;
  if (second.length == first.length && !second_goes_on) return kEqualLengths;
  return kFirstIsLonger;
}

double sound_score(const media::FileEnds& first, const media::FileEnds& second) {
  const auto channels = static_cast<std::size_t>(first.channels);
  const auto one_channel = [&](const std::vector<float>& interleaved, std::size_t channel) {
    std::vector<float> samples;
    samples.reserve(interleaved.size() / channels);
    for (std::size_t i = channel; i < interleaved.size(); i += channels)
      samples.push_back(interleaved[i]);
    return samples;
  };
  double sum = 0.0;
  for (std::size_t c = 0; c < channels; ++c)
    sum += continuity_nats(one_channel(first.tail, c), one_channel(second.head, c));
  return std::clamp(sum, -kMostOfSound, kMostOfSound);
}

/// Files by the order of their names, each with the one that goes on where it ends.
class Followers {
 public:
  explicit Followers(const Session& session) : session_(session), follower_(session.files.size()) {}

  /// Last files first, so that it is known what follows the second of two.
  void find(const std::set<std::size_t>& left_alone) {
    for (std::size_t i = session_.files.size(); i-- > 0;) choose_follower(i, left_alone);
    // Where the sound at a joint tells nothing, the other joints of the row do.
    for (std::size_t i = session_.files.size(); i-- > 0;)
      if (!follower_[i]) choose_follower(i, left_alone);
  }

  std::optional<std::size_t> after(std::size_t file) const { return follower_[file]; }
  const std::set<std::size_t>& that_follow() const { return follows_; }

  /// Files whose names go on in another's, and whose sound does not, though they may have been
  /// split.
  std::vector<std::pair<std::size_t, std::size_t>> that_do_not_go_on(
      const std::set<std::size_t>& left_alone) {
    std::vector<std::pair<std::size_t, std::size_t>> pairs;
    for (std::size_t file = 0; file < session_.files.size(); ++file)
      for (const std::size_t next : next_by_name(file))
        if (!follower_[file] && !follows_.contains(next) && !left_alone.contains(file) &&
            !left_alone.contains(next) && may_be_split(file, next))
          pairs.emplace_back(file, next);
    return pairs;
  }

  bool are_equally_long(std::size_t first, std::size_t second) {
    return ends_of(first)->length == ends_of(second)->length;
  }

 private:
  void choose_follower(std::size_t file, const std::set<std::size_t>& left_alone) {
    if (left_alone.contains(file)) return;
    double best_score = 0.0;
    for (const std::size_t next : next_by_name(file)) {
      if (left_alone.contains(next) || follows_.contains(next)) continue;
      const bool in_a_row = follows_.contains(file) || follower_[next].has_value();
      const double score = score_of(file, next) + (in_a_row ? kSeries : 0.0);
      if (score <= best_score) continue;
      best_score = score;
      follower_[file] = next;
    }
    if (follower_[file]) follows_.insert(*follower_[file]);
  }

  const std::optional<media::FileEnds>& ends_of(std::size_t file) {
    const auto found = ends_.find(file);
    if (found != ends_.end()) return found->second;
    return ends_.emplace(file, media::read_file_ends(session_.files[file].path, kEnds))
        .first->second;
  }

  double score_of(std::size_t first, std::size_t second) {
    const auto& one = ends_of(first);
    const auto& other = ends_of(second);
    return one && other ? joint_score(*one, *other, follower_[second].has_value()) : 0.0;
  }

  bool may_be_split(std::size_t first, std::size_t second) {
    const auto& one = ends_of(first);
    const auto& other = ends_of(second);
    return one && other && one->format == other->format && one->rate == other->rate &&
           one->channels == other->channels &&
           !(one->stamp && other->stamp && start_together(*one, *other));
  }

  std::vector<std::size_t> next_by_name(std::size_t file) const {
    const auto& path = session_.files[file].path;
    std::vector<std::size_t> next;
    for (std::size_t i = 0; i < session_.files.size(); ++i) {
      const auto& other = session_.files[i].path;
      if (other.parent_path() == path.parent_path() &&
          files_between(path.filename().string(), other.filename().string()) == 0)
        next.push_back(i);
    }
    return next;
  }

  const Session& session_;
  std::map<std::size_t, std::optional<media::FileEnds>> ends_;
  std::vector<std::optional<std::size_t>> follower_;
  std::set<std::size_t> follows_;
};

std::set<std::size_t> told_of(const Session& session) {
  std::set<std::size_t> told;
  if (session.mix) told.insert(*session.mix);
  for (const DeclaredTrack& track : session.declared) told.insert(track.file);
  return told;
}

}  // namespace

std::optional<long> files_between(std::string_view first, std::string_view second) {
  const NameParts a = parts_of(lower(first));
  const NameParts b = parts_of(lower(second));
  if (a.texts != b.texts || a.numbers.size() != b.numbers.size()) return std::nullopt;
  std::optional<long> between;
  for (std::size_t i = 0; i < a.numbers.size(); ++i) {
    if (a.numbers[i] == b.numbers[i]) continue;
    if (between) return std::nullopt;
    between = numbers_between(a.numbers[i], b.numbers[i]);
    if (!between) return std::nullopt;
  }
  return between;
}

double joint_score(const media::FileEnds& first, const media::FileEnds& second,
                   bool second_goes_on) {
  if (first.format != second.format || first.rate != second.rate ||
      first.channels != second.channels)
    return -std::numeric_limits<double>::infinity();
  double score = sound_score(first, second) - kBelieved;
  const bool stamped = first.stamp && second.stamp;
  if (stamped) score += stamp_score(first, second);
  // What stamps say, equal lengths need not hint at.
  if (!stamped || !stamps_go_on(first, second))
    score += length_score(first, second, second_goes_on);
  return score;
}

void join_split_takes(Session& session) {
  Followers followers(session);
  const std::set<std::size_t> left_alone = told_of(session);
  followers.find(left_alone);
  for (const auto& [file, next] : followers.that_do_not_go_on(left_alone))
    session.not_joined.push_back({session.files[file].name, session.files[next].name,
                                  followers.are_equally_long(file, next)});
  for (std::size_t i = 0; i < session.files.size(); ++i) {
    if (followers.that_follow().contains(i)) continue;
    for (auto part = followers.after(i); part; part = followers.after(*part))
      session.files[i].later_parts.push_back(
          {session.files[*part].path, session.files[*part].name});
  }
  remove_files(session, followers.that_follow());
}

void join(const NumberedPair& pair, Session& session) {
  const auto named = [&](const std::string& name) {
    return std::find_if(session.files.begin(), session.files.end(),
                        [&](const SessionFile& file) { return file.name == name; });
  };
  // What goes on in `first` may have been joined to another before.
  auto first = named(pair.first);
  if (first == session.files.end())
    first = std::find_if(session.files.begin(), session.files.end(), [&](const SessionFile& file) {
      return !file.later_parts.empty() && file.later_parts.back().name == pair.first;
    });
  const auto second = named(pair.second);
  if (first == session.files.end() || second == session.files.end() || first == second) return;
  first->later_parts.push_back({second->path, second->name});
  first->later_parts.insert(first->later_parts.end(), second->later_parts.begin(),
                            second->later_parts.end());
  remove_files(session, {static_cast<std::size_t>(second - session.files.begin())});
}

}  // namespace kilter::session

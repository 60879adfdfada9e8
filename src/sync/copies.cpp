#include "kilter/sync/copies.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "outgoing_words.h"
#include "window_spectra.h"
#include "wire_comparison.h"

namespace kilter::sync {
namespace {

// Measured, bleed of -8 to -1 dB: a microphone leaves -5 dB of its neighbour over all windows, and
// -10 in its best one; a second microphone of the same person, 1 to 3 ms away, no less. A copy
// through Opus at 48 or MP3 at 64 kbit/s leaves -18 to -22, MP3 of the mix -29, in every window
// -10 or better. So does the one talker of a session of the mix, and 35 windows of 40 of a mix do
// of a guest who speaks 90 %: a copy of the mix has to hold more than one.
constexpr double kCopy_db = -12.0;
constexpr double kApart_db = 6.0;    // who talks alone, and a neighbour's microphone beside him
constexpr double kNearlyAll = 0.85;  // of the windows
// The mix as a guest heard it, 16 kbit/s Opus and a compressor included, and the mix leave -11.8 dB
// of each other and less, -10 in 92 % of the windows. Loud leaks leave no less than -1.3 dB of the
// guest's file, -10 in 75 %; microphones of sessions of any size -5.2, and 64 %.
constexpr double kMixAgain_db = -9.0;
// A remark: of 1.5 and 3 s, from 6 dB above what leaks to 8 below it, 42 of 48 were found.
constexpr double kWords_s = 0.5;
// What microphones leave of one whom they hear at all; of one whom they do not, 0 to -2 dB.
constexpr double kHeld_db = -4.0;
constexpr double kMost = 0.7;
// Of the windows: fewer tell one delay only where nothing is summed, so that no comparison is worth
// its cost. Of sums 38 to 100 % do, of one clock; of others 51 to 92 %.
constexpr double kTold = 0.25;
constexpr double kToldElsewhere = 0.47;
constexpr std::size_t kLeastWindows = 2;
constexpr double kSameClock = 0.5e-6;
// Of one recorder: bleed comes later by a metre of air, 3 ms; a mixer's channels do not.
constexpr double kOneRecorder_s = 0.020;
constexpr double kOneRecorder = 60e-6;
constexpr double kSameDelay_s = 0.3e-3;
constexpr double kByWire_s = 0.05e-3;  // within one recorder
constexpr double kAsLong_s = 1.0;      // a coder pads its ends
constexpr double kLouder_db = 1.0;

/// Whether two tracks may be of one recorder, as their first maps tell.
bool on_one_clock(const PlacedSignal& a, const PlacedSignal& b) {
  return std::abs(a.lag_s - b.lag_s) < kOneRecorder_s && std::abs(a.slope - b.slope) < kOneRecorder;
}

using Signals = std::vector<std::size_t>;

/// Of `among`, those on the leader's clock.
Signals on_clock_of(const WireComparison& compared, std::size_t leader, const Signals& among) {
  Signals group;
  for (const std::size_t one : among)
    if (on_one_clock(compared.placed(one), compared.placed(leader))) group.push_back(one);
  return group;
}

/// The groups of `among` that share a clock, each once.
std::vector<Signals> clocks_of(const WireComparison& compared, const Signals& among) {
  std::vector<Signals> groups;
  for (const std::size_t leader : among) {
    Signals group = on_clock_of(compared, leader, among);
    if (std::find(groups.begin(), groups.end(), group) == groups.end())
      groups.push_back(std::move(group));
  }
  return groups;
}

/// The verdicts, signal 0 of the comparison being the mix and track t signal t + 1.
class Judge {
 public:
  Judge(const WireComparison& compared, std::span<const CopyCandidate> tracks,
        const std::atomic<bool>* stop)
      : compared_(compared),
        tracks_(tracks),
        stop_(stop),
        verdicts_(tracks.size()),
        has_words_(tracks.size()) {
    for (const CopyCandidate& track : tracks) known_.push_back(track.map->found);
  }

  Result<std::vector<CopyVerdict>> run() {
    for (std::size_t t = 0; t < verdicts_.size(); ++t)
      if (known_[t] && hold_one_sound(kMix, signal(t)) && holds_more_than_one(t))
        set_copy(t, CopyKind::of_mix, kMix);
    for (std::size_t t = 0; t < verdicts_.size(); ++t)
      for (std::size_t j = 0; j < t && is_open(t); ++j)
        if (is_open(j) && hold_one_sound(signal(j), signal(t))) set_copy_of_better(j, t);
    if (auto done = find_own_mixes(); !done) return done.error();
    for (std::size_t t = 0; t < verdicts_.size(); ++t)
      for (std::size_t j = 0; j < verdicts_.size(); ++j)
        if (is_open(t) && known_[j] && j != t)
          verdicts_[t].depth_db =
              std::min(verdicts_[t].depth_db, compared_.depth_db(signal(t), signal(j)));
    return std::move(verdicts_);
  }

 private:
  static constexpr std::size_t kMix = 0;
  static std::size_t signal(std::size_t track) { return track + 1; }
  bool is_open(std::size_t track) const {
    return known_[track] && verdicts_[track].kind == CopyKind::none;
  }

  bool is_one_sound(std::size_t a, std::size_t b) const {
    return std::abs(clock_difference(a, b)) < kSameClock && explain_each_other(a, b, kCopy_db) &&
           compared_.steadiness(a, b) >= kNearlyAll;
  }
  /// The same of two of which the one may be but a part of the other.
  bool hold_one_sound(std::size_t a, std::size_t b) const {
    const Overlap both = compared_.overlap(a, b);
    return both.windows >= kLeastTogether && both.depth_db <= kCopy_db &&
           both.deep_share >= kNearlyAll && both.steadiness >= kNearlyAll &&
           std::abs(clock_difference(a, b)) <
               kSameClock + 3.0 * compared_.pair(a, b).delay.slope_sigma;
  }
  bool explain_each_other(std::size_t a, std::size_t b, double most_db) const {
    return compared_.depth_db(a, b) <= most_db && compared_.depth_db(b, a) <= most_db &&
           explain_nearly_all(a, b);
  }
  /// Whatever the few other windows hold.
  bool explain_nearly_all(std::size_t a, std::size_t b) const {
    return compared_.deep_share(a, b) >= kNearlyAll && compared_.deep_share(b, a) >= kNearlyAll;
  }

  bool holds_the_mix(std::size_t track) const {
    return explain_each_other(kMix, signal(track), kMixAgain_db);
  }

  /// Whether a track that holds the mix, but for a few windows, holds words besides that were sent
  /// to the mix from there: the microphone of one who speaks little, between the windows perhaps,
  /// and into which the mix leaks.
  Result<bool> has_words_of_its_own(std::size_t track) {
    if (!has_words_[track]) {
      const auto stretches = compared_.unexplained(signal(track), kMix);
      if (!stretches) return stretches.error();
      const auto words_s =
          outgoing_words_s(compared_.placed(signal(track)), compared_.heard(signal(track), kMix),
                           *stretches, kWords_s, stop_);
      if (!words_s) return words_s.error();
      has_words_[track] = *words_s >= kWords_s;
    }
    return *has_words_[track];
  }

  /// Whether the track holds what the mix does, on whatever clock and at whatever levels, and
  /// nothing else: a recorder behind the mixer, or a guest's who took what he heard in place of his
  /// microphone.
  Result<bool> is_mix_again(std::size_t track) {
    if (!holds_the_mix(track) || !holds_more_than_one(track)) return false;
    const auto words = has_words_of_its_own(track);
    if (!words) return words.error();
    return !*words;
  }

  /// Whether the mix holds somebody through the track whom no other track holds: not so of a silent
  /// guest whose microphone has nothing but what leaks into it.
  Result<bool> stands_for_somebody(std::size_t track) {
    Signals others;
    for (std::size_t j = 0; j < verdicts_.size(); ++j) {
      if (j == track || !is_open(j)) continue;
      const auto again = is_mix_again(j);
      if (!again) return again.error();
      if (!*again) others.push_back(signal(j));
    }
    std::vector<bool> held(compared_.windows(), false);
    for (const auto& group : clocks_of(compared_, others)) {
      const auto common = compared_.common_delay(kMix, group, kSameDelay_s);
      if (!common) continue;
      const auto together = compared_.joint_depths_db(kMix, common->placed, group);
      if (!together) return together.error();
      for (std::size_t w = 0; w < held.size(); ++w)
        if (!(*together)[w] || *(*together)[w] < kHeld_db) held[w] = true;
    }
    std::size_t alone = 0;
    for (std::size_t w = 0; w < held.size(); ++w)
      if (!held[w] && compared_.is_deep(kMix, signal(track), w)) ++alone;
    return alone >= kLeastWindows;
  }

  /// How much faster the file of `b` runs than that of `a`.
  double clock_difference(std::size_t a, std::size_t b) const {
    const double step_s = 1000.0;
    const PlacedSignal& own = compared_.placed(a);
    return (compared_.source_s(a, b, step_s) - compared_.source_s(a, b, 0.0)) /
               (own.at(step_s) - own.at(0.0)) -
           1.0;
  }

  void set_copy(std::size_t track, CopyKind kind, std::size_t original) {
    CopyVerdict& verdict = verdicts_[track];
    const std::size_t own = signal(track);
    verdict.kind = kind;
    // One clock: where the delay is known best it holds for all.
    const double at_s = compared_.pair(original, own).delay.middle_s;
    verdict.delay_s = compared_.source_s(original, own, at_s) - compared_.placed(original).at(at_s);
    verdict.gain_db = compared_.gain_db(own, original);
    verdict.inverted = compared_.inverted(own, original);
    verdict.depth_db = compared_.depth_db(own, original);
  }

  void set_copy_of_better(std::size_t first, std::size_t second) {
    if (is_better(second, first)) std::swap(first, second);
    set_copy(second, CopyKind::of_track, signal(first));
    verdicts_[second].of = first;
    verdicts_[second].is_part = length_s(first) - length_s(second) > kAsLong_s;
  }

  /// Whether one may be the original of another: it is longer, or as long and has lost less.
  bool is_better(std::size_t one, std::size_t other) const {
    const double longer_s = length_s(one) - length_s(other);
    if (std::abs(longer_s) > kAsLong_s) return longer_s > 0.0;
    const CopyCandidate& a = tracks_[one];
    const CopyCandidate& b = tracks_[other];
    if (a.lossy != b.lossy) return b.lossy;
    if (a.rate_hz != b.rate_hz) return a.rate_hz > b.rate_hz;
    return compared_.gain_db(signal(one), signal(other)) > kLouder_db;
  }
  double length_s(std::size_t track) const {
    return static_cast<double>(compared_.placed(signal(track)).signal->frames()) / kAnalysisRateHz;
  }

  /// Whether the track explains the mix where another track does and where that one does not.
  bool holds_more_than_one(std::size_t track) const {
    for (std::size_t j = 0; j < verdicts_.size(); ++j) {
      if (j == track || !known_[j]) continue;
      std::size_t with = 0;
      std::size_t without = 0;
      for (std::size_t w = 0; w < compared_.windows(); ++w) {
        if (!compared_.is_deep(kMix, signal(track), w)) continue;
        if (compared_.is_deep(kMix, signal(j), w)) ++with;
        if (compared_.is_shallow(kMix, signal(j), w)) ++without;
      }
      if (with >= kLeastWindows && without >= kLeastWindows) return true;
    }
    return false;
  }

  /// Tracks that may be parts of the track: those that do not explain all of it by themselves.
  std::vector<std::size_t> possible_parts(std::size_t track) const {
    std::vector<std::size_t> parts;
    for (std::size_t j = 0; j < verdicts_.size(); ++j)
      if (j != track && is_open(j) && compared_.deep_share(signal(track), signal(j)) < kMost)
        parts.push_back(j);
    return parts;
  }

  static Signals signals_of(const std::vector<std::size_t>& tracks) {
    Signals signals;
    for (const std::size_t t : tracks) signals.push_back(signal(t));
    return signals;
  }

  /// The part whose delay against the track most windows agree on.
  std::optional<std::size_t> leader_of(std::size_t track,
                                       const std::vector<std::size_t>& parts) const {
    std::optional<std::size_t> leader;
    const auto used = [&](std::size_t j) {
      return compared_.pair(signal(track), signal(j)).windows.empty()
                 ? 0
                 : compared_.pair(signal(track), signal(j)).delay.used;
    };
    for (const std::size_t j : parts)
      if (used(j) > (leader ? used(*leader) : 0)) leader = j;
    return leader;
  }

  /// Whether a part's sound may have come by wire: at the delay common to all of its clock, where
  /// the track shares that, and with nothing but a level between them where it does not.
  bool may_come_by_wire(std::size_t track, const CommonDelay& common, std::size_t part,
                        const std::vector<std::size_t>& group) const {
    const std::size_t own = signal(track);
    const std::size_t other = signal(part);
    if (is_in(other, group)) {
      if (std::count(common.tells.begin(), common.tells.end(), other) > 0) return true;
      if (compared_.pair(own, other).windows.empty()) return false;
      const double late_s = compared_.source_s(own, other, compared_.middle_s()) -
                            common.placed.at(compared_.middle_s());
      return std::abs(late_s) < kSameDelay_s;
    }
    if (compared_.pair(own, other).windows.empty()) return false;
    std::size_t deep = 0;
    for (std::size_t w = 0; w < compared_.windows(); ++w)
      if (compared_.is_deep(own, other, w)) ++deep;
    return deep >= kLeastWindows;
  }

  static bool is_in(std::size_t one, const std::vector<std::size_t>& many) {
    return std::find(many.begin(), many.end(), one) != many.end();
  }

  /// The part that tells the common delay in most of the windows that tell it.
  static std::optional<std::size_t> teller_of_nearly_all(const CommonDelay& common,
                                                         const std::vector<std::size_t>& parts) {
    const auto& tells = common.tells;
    const auto told =
        std::count_if(tells.begin(), tells.end(), [](const auto& by) { return by.has_value(); });
    for (const std::size_t j : parts)
      if (static_cast<double>(std::count(tells.begin(), tells.end(), signal(j))) >
          kMost * static_cast<double>(told))
        return j;
    return std::nullopt;
  }

  /// Whether other tracks together explain most of the track and no single one does.
  Result<bool> is_explained(std::size_t track) const {
    std::vector<std::size_t> parts = possible_parts(track);
    while (true) {
      std::optional<std::size_t> loudest;
      const auto explained = is_explained_by(track, parts, loudest);
      if (!explained || *explained || !loudest) return explained;
      // The other side of a stereo mix: the microphones come to both later than they to each other.
      std::erase(parts, *loudest);
    }
  }

  /// The same of `parts`; `loudest` is the part on which nearly all hangs, if there is one.
  Result<bool> is_explained_by(std::size_t track, const std::vector<std::size_t>& parts,
                               std::optional<std::size_t>& loudest) const {
    const std::size_t own = signal(track);
    const auto leader = leader_of(track, parts);
    if (!leader) return false;
    const Signals group = on_clock_of(compared_, signal(*leader), signals_of(parts));
    const bool is_elsewhere =
        !on_one_clock(compared_.placed(own), compared_.placed(signal(*leader)));
    const auto common = compared_.common_delay(own, group, is_elsewhere ? kSameDelay_s : kByWire_s);
    if (!common) return false;
    loudest = teller_of_nearly_all(*common, parts);
    const auto by_wire = std::count_if(parts.begin(), parts.end(), [&](std::size_t j) {
      return may_come_by_wire(track, *common, j, group);
    });
    if (by_wire < 2 && !is_one_sound(kMix, own)) return false;
    const auto by_another_clock = [&](std::size_t w) {
      return std::any_of(parts.begin(), parts.end(), [&](std::size_t j) {
        return !is_in(signal(j), group) && compared_.is_deep(own, signal(j), w);
      });
    };
    double loud = 0.0;
    double told = 0.0;
    for (std::size_t w = 0; w < compared_.windows(); ++w) {
      if (!compared_.is_loud(own, w)) continue;
      loud += 1.0;
      if (common->tells[w] || by_another_clock(w)) told += 1.0;
    }
    if (told < (is_elsewhere ? kToldElsewhere : kTold) * loud) return false;
    const auto together = compared_.joint_depths_db(own, common->placed, group);
    if (!together) return together.error();
    double explained = 0.0;
    std::size_t alone = 0;
    for (std::size_t w = 0; w < compared_.windows(); ++w) {
      if (!(*together)[w]) continue;
      if (*(*together)[w] <= kDeep_db || by_another_clock(w))
        explained += 1.0;
      else if (*(*together)[w] > kHeld_db && compared_.runs(signal(*leader), w))
        ++alone;
    }
    // It may be a guest's, into which all the others leak and who hardly speaks; two who talk at
    // once look the same, and a mixer's mix that another recorder took may pass for his.
    if (is_elsewhere && alone >= kLeastWindows) return false;
    return explained > 0.0 && explained >= kMost * loud;
  }

  /// Beside a mix of all microphones each microphone is what the mix holds beyond the others, and
  /// so explained as well: the one that the session's mix explains best is the mix.
  Result<void> find_own_mixes() {
    while (true) {
      std::optional<std::size_t> best;
      for (const std::size_t t : likest_first()) {
        const auto explained = is_own_mix(t);
        if (!explained) return explained.error();
        if (*explained) {
          best = t;
          break;
        }
      }
      if (!best) return {};
      if (is_one_sound(kMix, signal(*best))) {
        set_copy(*best, CopyKind::of_mix, kMix);
        continue;
      }
      const auto whole = is_mix_again(*best);
      if (!whole) return whole.error();
      verdicts_[*best].kind = CopyKind::own_mix;
      verdicts_[*best].whole = *whole;
    }
  }
  Result<bool> is_own_mix(std::size_t track) {
    if (!explain_nearly_all(kMix, signal(track))) return is_explained(track);
    const auto words = has_words_of_its_own(track);
    if (!words) return words.error();
    if (*words) return false;
    if (!holds_the_mix(track) || !holds_more_than_one(track)) return is_explained(track);
    const auto stands = stands_for_somebody(track);
    return !stands || *stands ? stands : is_explained(track);
  }
  /// Open tracks, from the one that the session's mix explains best.
  std::vector<std::size_t> likest_first() const {
    std::vector<std::size_t> tracks;
    for (std::size_t t = 0; t < verdicts_.size(); ++t)
      if (is_open(t)) tracks.push_back(t);
    std::stable_sort(tracks.begin(), tracks.end(),
                     [this](std::size_t a, std::size_t b) { return likeness(a) > likeness(b); });
    return tracks;
  }
  std::pair<double, double> likeness(std::size_t track) const {
    return {compared_.deep_share(signal(track), kMix), -compared_.depth_db(signal(track), kMix)};
  }

  const WireComparison& compared_;
  std::span<const CopyCandidate> tracks_;
  const std::atomic<bool>* stop_;
  std::vector<bool> known_;  // placed by their first maps
  std::vector<CopyVerdict> verdicts_;
  std::vector<std::optional<bool>> has_words_;  // of those asked for
};

/// Share of the windows in which signal 0 is the sum of the group, whose files lie alike, or holds
/// one of the parts by itself.
Result<double> summed_share(const WireComparison& compared, const std::vector<std::size_t>& group,
                            const std::vector<std::size_t>& parts) {
  const auto common = compared.common_delay(0, group, kSameDelay_s);
  if (!common) return 0.0;
  const auto depths = compared.joint_depths_db(0, common->placed, group);
  if (!depths) return depths.error();
  double loud = 0.0;
  double explained = 0.0;
  for (std::size_t w = 0; w < depths->size(); ++w) {
    const auto& depth = (*depths)[w];
    if (!depth) continue;
    loud += 1.0;
    const auto is_part = [&](std::size_t t) { return compared.is_deep(0, t, w); };
    if (*depth <= kDeep_db || std::any_of(parts.begin(), parts.end(), is_part)) explained += 1.0;
  }
  return loud > 0.0 ? explained / loud : 0.0;
}

/// Whether signal 0 is the sum of one recorder's tracks, which hear each other so well that none of
/// them explains it alone, and of guests.
Result<bool> sum_of_one_recorder(const WireComparison& compared,
                                 std::span<const PlacedSignal> signals) {
  std::vector<std::size_t> parts;
  for (std::size_t t = 1; t < signals.size(); ++t)  // what explains all of it is its copy
    if (!compared.pair(0, t).windows.empty() && compared.deep_share(0, t) < kMost)
      parts.push_back(t);
  for (const Signals& group : clocks_of(compared, parts)) {
    if (group.size() < 2) continue;
    const auto share = summed_share(compared, group, parts);
    if (!share) return share.error();
    if (*share >= kMost) return true;
  }
  return false;
}

using Depths = std::vector<std::optional<double>>;

/// Windows in which the one explains the signal and the other does not.
std::size_t windows_of_one(const Depths& one, const Depths& other) {
  std::size_t count = 0;
  for (std::size_t w = 0; w < one.size(); ++w)
    if (one[w] && *one[w] <= kDeep_db && (!other[w] || *other[w] >= *one[w] + kApart_db)) ++count;
  return count;
}

}  // namespace

Result<int> sources_by_wire(const AnalysisSignal& signal, const OnsetFeatures& features,
                            std::span<const CopyCandidate> tracks, int threads,
                            const std::atomic<bool>* stop) {
  const std::vector<double> windows = choose_windows(features);
  if (windows.size() < kLeastTogether) return 0;
  std::vector<PlacedSignal> signals{{&signal, 0.0, 1.0}};
  for (const CopyCandidate& track : tracks)
    if (track.map->found)
      signals.push_back({track.signal, track.map->lag_s, 1.0 - track.map->drift_ppm * 1e-6});
  if (signals.size() < 2) return 0;
  WireComparison compared(signals, windows, threads, stop);
  if (auto done = compared.run(); !done) return done.error();
  std::vector<Depths> deep;  // of the tracks that explain it somewhere
  for (std::size_t t = 1; t < signals.size(); ++t) {
    Depths depths;
    for (std::size_t w = 0; w < windows.size(); ++w) depths.push_back(compared.depth_db(0, t, w));
    if (windows_of_one(depths, Depths(windows.size())) >= kLeastWindows)
      deep.push_back(std::move(depths));
  }
  for (std::size_t a = 0; a < deep.size(); ++a)
    for (std::size_t b = 0; b < a; ++b)
      if (windows_of_one(deep[a], deep[b]) >= kLeastWindows &&
          windows_of_one(deep[b], deep[a]) >= kLeastWindows)
        return 2;
  const auto together = sum_of_one_recorder(compared, signals);
  if (!together) return together.error();
  return *together ? 2 : deep.empty() ? 0 : 1;
}

Result<std::vector<CopyVerdict>> find_copies(const AnalysisSignal& mix,
                                             const OnsetFeatures& mix_features,
                                             std::span<const CopyCandidate> tracks, int threads,
                                             const std::atomic<bool>* stop) {
  std::vector<double> windows = choose_windows(mix_features);
  if (tracks.empty() || windows.size() < kLeastTogether)
    return std::vector<CopyVerdict>(tracks.size());
  std::vector<PlacedSignal> signals{{&mix, 0.0, 1.0}};
  for (const CopyCandidate& track : tracks) {
    const FirstMap& map = *track.map;
    signals.push_back({track.signal, map.lag_s, 1.0 - map.drift_ppm * 1e-6});
  }
  WireComparison compared(std::move(signals), std::move(windows), threads, stop);
  if (auto done = compared.run(); !done) return done.error();
  return Judge(compared, tracks, stop).run();
}

}  // namespace kilter::sync

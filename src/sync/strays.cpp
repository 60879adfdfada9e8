#include "kilter/sync/strays.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <span>

#include "kilter/base/median.h"
#include "quarter_seconds.h"
#include "sound_matcher.h"

namespace kilter::sync {
namespace {

constexpr std::int64_t kPageBlocks = 64;
constexpr double kOneStretch_s = 1e-6;
constexpr double kLoud = 0.06;     // of the loudest blocks' mean power
constexpr double kLoudest = 0.02;  // so many of the blocks that sound
constexpr double kSounds = 0.01;   // of the loudest block's power
constexpr double kMissing = 0.35;  // of the track's usual gain in the mix
constexpr double kInPlace = 0.6;
constexpr int kLeastInPlace = 2;          // blocks
constexpr int kLongestPhrase = 6;         // blocks searched for together
constexpr std::size_t kMostPhrases = 80;  // of one track
// A passage: phrases at an end of a stretch that are found nowhere near, searched for together.
constexpr std::size_t kLongestPassage = 24;  // blocks
constexpr double kLeastPassage_s = 1.0;      // of it loud
constexpr double kLeastFarSigma = 14.0;      // chance has some hundred times as many places
constexpr double kSamePassage_s = 0.050;     // by which its phrases may differ
// Words beyond the mix's ends that the mix holds all the same.
constexpr double kLeastBeyond_s = 1.0;  // of them loud
constexpr double kSameOffset_s = 2e-3;

/// A quarter of a second of the track where its map puts it in the mix.
struct Block {
  double track_s{0.0};  // where it begins
  double mix_s{0.0};
  std::size_t stretch{0};  // of the map, between two seams
  double power{0.0};
  double cross{0.0};
  bool outside{false};  // before the mix, or behind it
};

/// Which spans follow one another without a seam.
std::vector<std::size_t> stretches_of(std::span<const Span> spans) {
  std::vector<std::size_t> stretches(spans.size(), 0);
  for (std::size_t i = 1; i < spans.size(); ++i) {
    const bool goes_on = spans[i].from_s - spans[i - 1].to_s < kOneStretch_s &&
                         spans[i].line_from_s - spans[i - 1].line_to_s < kOneStretch_s;
    stretches[i] = stretches[i - 1] + (goes_on ? 0 : 1);
  }
  return stretches;
}

/// Of the mix, and so far beyond both its ends.
Result<std::vector<Block>> read_blocks(const AnalysisSignal& mix, const MappedTrack& track,
                                       double beyond_s, const std::atomic<bool>* stop) {
  std::vector<Block> blocks;
  const std::int64_t all = mix.frames() / kQuarter;
  const auto beyond = static_cast<std::int64_t>(beyond_s / kQuarter_s);
  std::vector<float> page;
  std::vector<float> ahead(static_cast<std::size_t>(kPageBlocks * kQuarter + 1));  // of the track
  std::int64_t ahead_first = -2 * std::ssize(ahead);
  const auto spans = track.map->spans();
  const std::vector<std::size_t> stretches = stretches_of(spans);
  for (std::int64_t first = -beyond; first < all + beyond; first += kPageBlocks) {
    if (stop != nullptr && stop->load()) break;
    page.resize(static_cast<std::size_t>(kPageBlocks * kQuarter + 1));
    if (auto read = mix.read(first * kQuarter - 1, page); !read) return read.error();
    for (std::int64_t b = first; b < std::min(all + beyond, first + kPageBlocks); ++b) {
      const double mix_s = static_cast<double>(b) * kQuarter_s;
      const auto from_s = track.map->to_track(mix_s);
      const auto to_s = track.map->to_track(mix_s + kQuarter_s);
      if (!from_s || !to_s) continue;
      const auto stretch_at = [&](double track_s) {
        std::size_t span = 0;
        while (span + 1 < spans.size() && spans[span].to_s < track_s) ++span;
        return stretches[span];
      };
      // One that reaches over a seam lies on neither side.
      const std::size_t stretch = stretch_at(*from_s);
      if (stretch_at(*to_s) != stretch) continue;
      Block block{*from_s, mix_s, stretch, 0.0, 0.0, b < 0 || b >= all};
      const double middle_s = 0.5 * (*from_s + *to_s);
      const auto at = std::llround(middle_s * kAnalysisRateHz) - kQuarter / 2;
      if (at - 1 < ahead_first || at + kQuarter > ahead_first + std::ssize(ahead)) {
        ahead_first = at - 1;
        if (auto read = track.signal->read(ahead_first, ahead); !read) return read.error();
      }
      const QuarterSums sums = quarter_sums(&ahead[static_cast<std::size_t>(at - 1 - ahead_first)],
                                            page.data() + (b - first) * kQuarter);
      block.power = sums.power;
      block.cross = sums.cross;
      blocks.push_back(block);
    }
  }
  return blocks;
}

/// Power above which a block counts as loud: own speech, not the room's. By those in the mix.
double loud_power(const std::vector<Block>& blocks) {
  std::vector<double> powers;
  double most = 0.0;
  for (const Block& block : blocks)
    if (!block.outside) most = std::max(most, block.power);
  for (const Block& block : blocks)
    if (!block.outside && block.power > kSounds * most) powers.push_back(block.power);
  if (powers.empty()) return 0.0;
  std::sort(powers.begin(), powers.end(), std::greater<>());
  const auto count = static_cast<std::size_t>(
      std::max(3.0, std::ceil(kLoudest * static_cast<double>(powers.size()))));
  double sum = 0.0;
  for (std::size_t i = 0; i < std::min(count, powers.size()); ++i) sum += powers[i];
  return kLoud * sum / static_cast<double>(std::min(count, powers.size()));
}

/// Blocks in a row that are loud, or nearly so, and not in place.
struct Phrase {
  std::size_t first{0};
  std::size_t last{0};
};

class Search {
 public:
  Search(const AnalysisSignal& mix, const MappedTrack& track, const StrayOptions& options)
      : mix_(mix), track_(track), options_(options) {}

  Result<Whereabouts> run() {
    auto blocks = read_blocks(mix_, track_, options_.search_s, options_.stop);
    if (!blocks) return blocks.error();
    blocks_ = *std::move(blocks);
    Whereabouts result;
    judge_blocks();
    result.least_in_place = least_in_place();
    find_in_place(result);
    std::vector<Phrase> nowhere;
    const std::vector<Phrase> within = phrases(false);
    result.is_all = within.size() < kMostPhrases;
    for (const Phrase& phrase : within) {
      if (stopped()) break;
      result.missing.push_back(missing_of(phrase));
      auto match = look_for(phrase);
      if (!match) return match.error();
      if (!match->found && !amid_others(phrase)) nowhere.push_back(phrase);
      if (match->found && std::abs(match->offset_s) >= options_.least_s)
        result.elsewhere.push_back(stray_of(phrase, *match));
    }
    if (auto done = look_further(std::move(nowhere), result); !done) return done.error();
    if (auto done = look_beyond(result); !done) return done.error();
    std::stable_sort(result.elsewhere.begin(), result.elsewhere.end(),
                     [](const Stray& a, const Stray& b) { return a.track_s < b.track_s; });
    return result;
  }

 private:
  /// What the map puts beyond the mix need not be in it, but may: its stretch is then elsewhere.
  /// One word alone may sound like another's.
  Result<void> look_beyond(Whereabouts& result) {
    std::vector<Stray> found;
    std::vector<double> loud;
    for (const Phrase& phrase : phrases(true)) {
      if (stopped()) break;
      auto match = look_within_mix(phrase);
      if (!match) return match.error();
      if (!match->found) continue;
      found.push_back(stray_of(phrase, *match));
      loud.push_back(loud_s(phrase));
    }
    for (const Stray& stray : found) {
      double alike_s = 0.0;
      for (std::size_t i = 0; i < found.size(); ++i)
        if (std::abs(off_s(found[i]) - off_s(stray)) < kSameOffset_s) alike_s += loud[i];
      if (alike_s >= kLeastBeyond_s) result.elsewhere.push_back(stray);
    }
    return {};
  }
  static double off_s(const Stray& stray) { return stray.mix_s - stray.mapped_s; }

  bool stopped() const { return options_.stop != nullptr && options_.stop->load(); }

  void judge_blocks() {
    const double loud = loud_power(blocks_);
    std::vector<double> gains;
    for (const Block& block : blocks_)
      if (loud > 0.0 && block.power > loud && !block.outside)
        gains.push_back(block.cross / block.power);
    loud_.assign(blocks_.size(), 0);
    gain_.assign(blocks_.size(), 0.0);
    if (gains.empty()) return;
    // Most of what it says is in place, or its map would not be believed.
    const double usual = median(gains);
    if (usual == 0.0) return;
    polarity_ = usual < 0.0 ? Polarity::inverted : Polarity::upright;
    for (std::size_t b = 0; b < blocks_.size(); ++b) {
      loud_[b] = blocks_[b].power > loud ? 1 : 0;
      gain_[b] = blocks_[b].power > 0.0 ? blocks_[b].cross / blocks_[b].power / usual : 0.0;
    }
  }

  bool missing(std::size_t b) const { return loud_[b] != 0 && gain_[b] < kMissing; }
  bool in_place(std::size_t b) const { return loud_[b] != 0 && gain_[b] > kInPlace; }

  std::vector<Phrase> phrases(bool outside) const {
    std::vector<Phrase> found;
    for (std::size_t b = 0; b < blocks_.size(); ++b) {
      if (!missing(b) || blocks_[b].outside != outside) continue;
      const bool continues =
          !found.empty() &&
          blocks_[b].mix_s - blocks_[found.back().last].mix_s < 2.5 * kQuarter_s &&
          blocks_[b].stretch == blocks_[found.back().first].stretch &&
          b - found.back().first < kLongestPhrase && !any_in_place(found.back().last, b);
      if (continues)
        found.back().last = b;
      else
        found.push_back({b, b});
    }
    // Where there are too many, the map is not believed anyway.
    if (found.size() > kMostPhrases) found.resize(kMostPhrases);
    return found;
  }

  int least_in_place() const {
    std::vector<int> counts(stretches_of(track_.map->spans()).back() + 1, 0);
    for (std::size_t b = 0; b < blocks_.size(); ++b)
      if (in_place(b)) ++counts[blocks_[b].stretch];
    return *std::min_element(counts.begin(), counts.end());
  }

  bool any_in_place(std::size_t from, std::size_t to) const {
    for (std::size_t b = from; b <= to; ++b)
      if (in_place(b)) return true;
    return false;
  }

  /// One alone may be in place by chance, a vowel being like itself a few periods on.
  bool in_place_with_next(std::size_t b) const {
    return in_place(b) && ((b > 0 && in_place(b - 1)) || (b + 1 < gain_.size() && in_place(b + 1)));
  }

  /// Whether what the track says on the same span, before and after the phrase, is in place.
  bool amid_others(const Phrase& phrase) const {
    int before = 0;
    int after = 0;
    for (std::size_t b = 0; b < blocks_.size(); ++b) {
      if (blocks_[b].stretch != blocks_[phrase.first].stretch || !in_place_with_next(b)) continue;
      if (b < phrase.first) ++before;
      if (b > phrase.last) ++after;
    }
    return before >= kLeastInPlace && after >= kLeastInPlace;
  }

  void find_in_place(Whereabouts& result) const {
    std::vector<double> in_place_s;
    for (std::size_t b = 0; b < blocks_.size(); ++b)
      if (in_place(b) && !blocks_[b].outside) in_place_s.push_back(blocks_[b].mix_s);
    constexpr std::size_t kByChance = kLeastInPlace - 1;
    if (in_place_s.size() <= 2 * kByChance) return;
    result.in_place_from_s = in_place_s[kByChance];
    result.in_place_to_s = in_place_s[in_place_s.size() - 1 - kByChance];
  }

  Missing missing_of(const Phrase& phrase) const {
    const Block& first = blocks_[phrase.first];
    return {first.track_s, first.mix_s, loud_s(phrase)};
  }

  double loud_s(const Phrase& phrase) const {
    double sum_s = 0.0;
    for (std::size_t b = phrase.first; b <= phrase.last; ++b)
      sum_s += missing(b) ? kQuarter_s : 0.0;
    return sum_s;
  }

  /// What is found nowhere near, an end of a stretch at a time.
  Result<void> look_further(std::vector<Phrase> nowhere, Whereabouts& result) {
    for (std::size_t from = 0; from < nowhere.size() && !stopped();) {
      std::size_t to = from + 1;
      while (to < nowhere.size() && at_same_end(nowhere[from], nowhere[to])) ++to;
      const std::span<const Phrase> end(nowhere.data() + from, to - from);
      from = to;
      const auto off_s = far_offset_s(end);
      if (!off_s) return off_s.error();
      for (const Phrase& phrase : end) {
        auto match = *off_s ? look_for(phrase, **off_s) : SoundMatch{};
        if (!match) return match.error();
        if (match->found && std::abs(match->offset_s - **off_s) < kSamePassage_s) {
          result.elsewhere.push_back(stray_of(phrase, *match));
        } else {
          result.nowhere.push_back(missing_of(phrase));
        }
      }
    }
    return {};
  }

  /// Of two phrases that lie at an end of their stretch: whether no other sound is in place between
  /// them.
  bool at_same_end(const Phrase& a, const Phrase& b) const {
    return blocks_[a.first].stretch == blocks_[b.first].stretch && !any_in_place(a.last, b.first);
  }

  /// By how much later than mapped the mix has these phrases, where it has them within far reach;
  /// nothing where it does not, or where they are too little to tell.
  Result<std::optional<double>> far_offset_s(std::span<const Phrase> phrases) {
    // Of all passages that are short enough the one that says the most.
    Phrase passage{};
    double most_s = 0.0;
    for (std::size_t i = 0; i < phrases.size(); ++i) {
      double sum_s = 0.0;
      for (std::size_t j = i; j < phrases.size(); ++j) {
        if (phrases[j].last - phrases[i].first >= kLongestPassage ||
            is_broken(phrases[i].first, phrases[j].last))
          break;
        sum_s += loud_s(phrases[j]);
        if (sum_s <= most_s) continue;
        most_s = sum_s;
        passage = {phrases[i].first, phrases[j].last};
      }
    }
    if (most_s < kLeastPassage_s) return std::optional<double>{};
    const Block& first = blocks_[passage.first];
    const std::int64_t mix_at = std::llround(first.mix_s * kAnalysisRateHz);
    const auto reach = static_cast<std::int64_t>(options_.far_s * kAnalysisRateHz);
    const auto from = std::max(-length_of(passage), mix_at - reach);
    if (auto taken = matcher_.take(*track_.signal, std::llround(first.track_s * kAnalysisRateHz),
                                   length_of(passage));
        !taken)
      return taken.error();
    const auto match = matcher_.look_over(mix_, from, std::min(mix_.frames(), mix_at + reach),
                                          polarity_, options_.stop);
    if (!match) return match.error();
    if (!match->found || match->peak_sigma < kLeastFarSigma) return std::optional<double>{};
    return std::optional(match->offset_s + static_cast<double>(from - mix_at) / kAnalysisRateHz);
  }

  /// Whether blocks are missing between two: the map has a hole there.
  bool is_broken(std::size_t from, std::size_t to) const {
    const double blocks_s = static_cast<double>(to - from) * kQuarter_s;
    return std::abs(blocks_[to].mix_s - blocks_[from].mix_s - blocks_s) > 0.5 * kQuarter_s;
  }

  static std::int64_t length_of(const Phrase& phrase) {
    return static_cast<std::int64_t>(phrase.last - phrase.first + 1) * kQuarter;
  }

  Result<SoundMatch> look_for(const Phrase& phrase) {
    return look_for(phrase, 0.0, options_.search_s);
  }
  Result<SoundMatch> look_for(const Phrase& phrase, double round_s) {
    return look_for(phrase, round_s, options_.search_s);
  }

  /// Searches so far to both sides of where the map, and `round_s` later, puts the phrase.
  Result<SoundMatch> look_for(const Phrase& phrase, double round_s, double reach_s) {
    const Block& first = blocks_[phrase.first];
    const auto track_at = std::llround(first.track_s * kAnalysisRateHz);
    if (auto taken = matcher_.take(*track_.signal, track_at, length_of(phrase)); !taken)
      return taken.error();
    const auto moved = std::llround(round_s * kAnalysisRateHz);
    const auto mix_at = std::llround(blocks_[phrase.first].mix_s * kAnalysisRateHz);
    auto match = matcher_.look(mix_, mix_at + moved,
                               std::llround(std::floor(reach_s * kAnalysisRateHz)), polarity_);
    if (!match) return match.error();
    match->offset_s += (static_cast<double>(moved) + rounding(phrase)) / kAnalysisRateHz;
    return match;
  }

  /// Searches where the mix holds all of the phrase, as far from where the map puts it as reaches.
  Result<SoundMatch> look_within_mix(const Phrase& phrase) {
    const Block& first = blocks_[phrase.first];
    const auto track_at = std::llround(first.track_s * kAnalysisRateHz);
    const auto mix_at = std::llround(first.mix_s * kAnalysisRateHz);
    const auto search = static_cast<std::int64_t>(options_.search_s * kAnalysisRateHz);
    const std::int64_t from = std::max<std::int64_t>(0, mix_at - search);
    const auto to = std::min<std::int64_t>(mix_.frames() - length_of(phrase), mix_at + search);
    const std::int64_t reach = (to - from) / 2;
    if (reach < kQuarter) return SoundMatch{};
    if (auto taken = matcher_.take(*track_.signal, track_at, length_of(phrase)); !taken)
      return taken.error();
    auto match = matcher_.look(mix_, from + reach, reach, polarity_);
    if (!match) return match.error();
    match->offset_s +=
        (static_cast<double>(from + reach - mix_at) + rounding(phrase)) / kAnalysisRateHz;
    return match;
  }

  Stray stray_of(const Phrase& phrase, const SoundMatch& match) const {
    const Block& first = blocks_[phrase.first];
    const double half_s = 0.5 * kQuarter_s * static_cast<double>(phrase.last - phrase.first + 1);
    Stray stray;
    stray.track_s = first.track_s + half_s;
    stray.mapped_s = first.mix_s + half_s;
    stray.mix_s = stray.mapped_s + match.offset_s;
    stray.peak_sigma = match.peak_sigma;
    stray.correlation = match.correlation;
    stray.amid_others = amid_others(phrase);
    return stray;
  }

  /// Both signals were read from whole frames: what that adds to the offset.
  double rounding(const Phrase& phrase) const {
    const Block& first = blocks_[phrase.first];
    const double track = first.track_s * kAnalysisRateHz;
    const double mix = first.mix_s * kAnalysisRateHz;
    return (std::round(mix) - mix) - (std::round(track) - track);
  }

  const AnalysisSignal& mix_;
  const MappedTrack& track_;
  const StrayOptions& options_;
  std::vector<Block> blocks_;
  std::vector<char> loud_;
  std::vector<double> gain_;  // over the usual one
  Polarity polarity_{Polarity::upright};
  SoundMatcher matcher_;
};

}  // namespace

double loud_s(const std::vector<Missing>& missing) {
  double sum_s = 0.0;
  for (const Missing& each : missing) sum_s += each.loud_s;
  return sum_s;
}

Result<Whereabouts> find_strays(const AnalysisSignal& mix, const MappedTrack& track,
                                const StrayOptions& options) {
  return Search(mix, track, options).run();
}

}  // namespace kilter::sync

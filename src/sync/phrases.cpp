#include "kilter/sync/phrases.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <memory>
#include <optional>

#include "kilter/base/decibels.h"
#include "kilter/base/parallel.h"
#include "quarter_seconds.h"
#include "sound_matcher.h"
#include "track_fit.h"

namespace kilter::sync {
namespace {

constexpr double kNothing_db = -200.0;
constexpr double kMute_db = -88.0;    // dither; a microphone that is on hears whoever talks
constexpr double kLoudest = 0.02;     // so many of the quarters that sound
constexpr double kSounds_db = 20.0;   // below the loudest quarter
constexpr double kTalk_db = -16.0;    // below the loudest talk
constexpr double kNearly_db = -1.0;   // so near may a quarter be to others' and count
constexpr double kForemost_db = 1.0;  // and so far over them must a phrase be
constexpr double kSoundsToo_db = -10.0;
constexpr double kFaintest_db = -30.0;  // that may be a voice from across the room
constexpr std::size_t kPause = 1;       // quarters that part no phrase
constexpr std::size_t kLongest = 12;
constexpr std::size_t kShortest = 3;
constexpr std::size_t kLeastMute = 8;
constexpr double kMargin_s = 0.1;
constexpr int kSpareFrames = 6;        // more of the meter's than tracks, to tell them apart by
constexpr double kFrame_s = 0.256;     // the meter's, every half
constexpr double kInPlace_s = 0.3e-3;  // where fainter evidence will do
constexpr double kFaintPeakSigma = 9.0;
constexpr double kFaintCoherence = 0.35;
constexpr double kThroughTheRoom_s = 0.030;
constexpr double kFarPeakSigma = 14.0;  // chance has a hundred times as many places
constexpr double kLeastFar_s = 1.0;
constexpr double kFarSigma_s = 50e-6;
constexpr int kMostFar = 60;

/// Level of every quarter of a second of the mix's time.
Result<std::vector<double>> levels_of(const MappedTrack& track, double length_s,
                                      const std::atomic<bool>* stop) {
  std::vector<double> levels(static_cast<std::size_t>(length_s / kQuarter_s), kNothing_db);
  std::vector<float> samples(static_cast<std::size_t>(kQuarter + 1));
  for (std::size_t q = 0; q < levels.size(); ++q) {
    if (stop != nullptr && stop->load()) break;
    const auto at_s = track.map->to_track((static_cast<double>(q) + 0.5) * kQuarter_s);
    if (!at_s) continue;
    const auto first = std::llround(*at_s * kAnalysisRateHz) - kQuarter / 2;
    if (auto read = track.signal->read(first - 1, samples); !read) return read.error();
    const double power = quarter_sums(samples.data(), samples.data()).power;
    const double level = power_to_db(power / static_cast<double>(kQuarter));
    if (level > kMute_db) levels[q] = level;
  }
  return levels;
}

/// Level of a track's loudest talk.
double loud_db(const std::vector<double>& levels) {
  if (levels.empty()) return 0.0;
  const double most = *std::max_element(levels.begin(), levels.end());
  std::vector<double> sounds;
  for (const double level : levels)
    if (level > most - kSounds_db) sounds.push_back(level);
  std::sort(sounds.begin(), sounds.end(), std::greater<>());
  const double share = std::ceil(kLoudest * static_cast<double>(sounds.size()));
  const auto count = std::min(sounds.size(), static_cast<std::size_t>(std::max(3.0, share)));
  double sum = 0.0;
  for (std::size_t i = 0; i < count; ++i) sum += sounds[i];
  return sum / static_cast<double>(count);
}

/// Quarters of a second, the last one left out.
struct Quarters {
  std::size_t from{0};
  std::size_t to{0};
  double from_s() const { return static_cast<double>(from) * kQuarter_s; }
  double to_s() const { return static_cast<double>(to) * kQuarter_s; }
  std::size_t count() const { return to - from; }
};

/// In equal parts of three seconds at most.
std::vector<Quarters> parts_of(const Quarters& whole) {
  std::vector<Quarters> parts;
  const std::size_t count = (whole.count() + kLongest - 1) / kLongest;
  for (std::size_t p = 0; p < count; ++p)
    parts.push_back(
        {whole.from + p * whole.count() / count, whole.from + (p + 1) * whole.count() / count});
  return parts;
}

bool is_in_place(const Reading& reading) {
  return reading.heard && std::abs(reading.offset_s) < kInPlace_s &&
         reading.peak_sigma >= kFaintPeakSigma && reading.coherence >= kFaintCoherence;
}

bool is_heard(const Reading& reading) {
  return (reading.heard && is_clear(reading)) || is_in_place(reading);
}

class Search {
 public:
  Search(const AnalysisSignal& mix, double length_s, const std::vector<MappedTrack>& tracks,
         const PhraseOptions& options)
      : mix_(mix), length_s_(length_s), tracks_(tracks), options_(options) {}

  Result<std::vector<TrackPhrases>> run() {
    std::vector<TrackPhrases> found(tracks_.size());
    levels_.resize(tracks_.size());
    if (auto done = for_each([&](std::size_t k) { return take_levels(k); }); !done)
      return done.error();
    const auto mix_map = TimeMap::line(0.0, 0.0, length_s_, 0.0);
    auto mix_levels = levels_of({&mix_, &*mix_map}, length_s_, options_.stop);
    if (!mix_levels) return mix_levels.error();
    mix_levels_ = *std::move(mix_levels);
    const double loud = loud_db(mix_levels_);
    for (double& level : mix_levels_) level -= loud;
    if (auto done = for_each([&](std::size_t k) { return search(k, found[k]); }); !done)
      return done.error();
    return found;
  }

 private:
  bool stopped() const { return options_.stop != nullptr && options_.stop->load(); }

  template <typename Work>
  Result<void> for_each(const Work& work) {
    std::vector<std::optional<Error>> errors(tracks_.size());
    parallel_for(static_cast<int>(tracks_.size()), options_.threads, [&](int i) {
      const auto k = static_cast<std::size_t>(i);
      if (Result<void> done = work(k); !done) errors[k] = done.error();
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    return {};
  }

  Result<void> take_levels(std::size_t k) {
    auto levels = levels_of(tracks_[k], length_s_, options_.stop);
    if (!levels) return levels.error();
    levels_[k] = *std::move(levels);
    const double loud = loud_db(levels_[k]);
    for (double& level : levels_[k])
      if (level > kNothing_db) level -= loud;
    return {};
  }

  bool is_mute(std::size_t k, std::size_t q) const { return levels_[k][q] <= kNothing_db; }

  double over_others_db(std::size_t k, std::size_t q) const {
    double most = kNothing_db;
    for (std::size_t j = 0; j < tracks_.size(); ++j)
      if (j != k) most = std::max(most, levels_[j][q]);
    return levels_[k][q] - most;
  }
  bool is_own(std::size_t k, std::size_t q) const {
    return levels_[k][q] >= kTalk_db && over_others_db(k, q) >= kNearly_db;
  }

  Result<void> search(std::size_t k, TrackPhrases& found) {
    WindowMeter meter({.search_s = options_.near_s, .joint = true});
    for (const Quarters& talk : talk_of(k))
      for (const Quarters& part : parts_of(talk)) {
        if (stopped()) return {};
        if (part.count() < kShortest || !is_foremost(k, part)) continue;
        if (auto done = measure(k, part, meter, found.phrases); !done) return done;
      }
    if (auto done = look_further(k, found.phrases); !done) return done;
    return find_missing(k, meter, found.missing);
  }

  std::vector<Quarters> talk_of(std::size_t k) const {
    std::vector<Quarters> talk;
    for (std::size_t q = 0; q < levels_[k].size(); ++q) {
      if (!is_own(k, q)) continue;
      if (talk.empty() || q > talk.back().to + kPause) talk.push_back({q, q});
      talk.back().to = q + 1;
    }
    return talk;
  }

  bool is_foremost(std::size_t k, const Quarters& part) const {
    double sum = 0.0;
    for (std::size_t q = part.from; q < part.to; ++q) sum += over_others_db(k, q);
    return sum >= kForemost_db * static_cast<double>(part.count());
  }

  double most_db(std::size_t k, const Quarters& part) const {
    return *std::max_element(levels_[k].begin() + static_cast<std::ptrdiff_t>(part.from),
                             levels_[k].begin() + static_cast<std::ptrdiff_t>(part.to));
  }

  /// Long enough to tell the tracks apart.
  Result<std::vector<Reading>> read(const Quarters& part, const std::vector<MappedTrack>& tracks,
                                    WindowMeter& meter) const {
    const double least_s = 0.5 * kFrame_s * (static_cast<double>(tracks.size()) + kSpareFrames);
    const double part_s = part.to_s() - part.from_s();
    const double margin_s = std::max(kMargin_s, 0.5 * (least_s - part_s));
    return meter.measure(mix_, tracks, part.from_s() - margin_s, part_s + 2.0 * margin_s);
  }

  Result<void> measure(std::size_t k, const Quarters& part, WindowMeter& meter,
                       std::vector<Phrase>& found) const {
    Phrase phrase;
    phrase.from_s = part.from_s();
    phrase.to_s = part.to_s();
    std::vector<MappedTrack> sounding{tracks_[k]};
    const auto count = static_cast<double>(part.count());
    for (std::size_t j = 0; j < tracks_.size(); ++j) {
      if (j == k) continue;
      double mute = 0.0;
      for (std::size_t q = part.from; q < part.to; ++q) mute += is_mute(j, q) ? 1.0 : 0.0;
      phrase.beside_mute = phrase.beside_mute || mute > 0.5 * count;
      if (most_db(j, part) >= kSoundsToo_db) sounding.push_back(tracks_[j]);
    }
    for (std::size_t q = part.from; q < part.to; ++q) phrase.level_db += levels_[k][q] / count;
    const auto readings = read(part, sounding, meter);
    if (!readings) return readings.error();
    const Reading& reading = readings->front();
    phrase.heard = is_heard(reading);
    phrase.late_s = -reading.offset_s;
    phrase.sigma_s = trusted_sigma_s(reading);
    phrase.inverted = phrase.heard && reading.inverted;
    found.push_back(phrase);
    return {};
  }

  /// What is not heard near its place may be further off.
  Result<void> look_further(std::size_t k, std::vector<Phrase>& phrases) const {
    std::unique_ptr<SoundMatcher> matcher;
    int looked = 0;
    for (Phrase& phrase : phrases) {
      if (phrase.heard || phrase.length_s() < kLeastFar_s || looked == kMostFar) continue;
      if (stopped()) return {};
      const auto track_s = tracks_[k].map->to_track(phrase.from_s);
      if (!track_s) continue;
      ++looked;
      if (!matcher) matcher = std::make_unique<SoundMatcher>();
      const auto length = std::llround(phrase.length_s() * kAnalysisRateHz);
      if (auto taken =
              matcher->take(*tracks_[k].signal, std::llround(*track_s * kAnalysisRateHz), length);
          !taken)
        return taken;
      const auto match =
          matcher->look(mix_, std::llround(phrase.from_s * kAnalysisRateHz),
                        std::llround(options_.far_s * kAnalysisRateHz), Polarity::either);
      if (!match) return match.error();
      if (!match->found || match->peak_sigma < kFarPeakSigma) continue;
      phrase.heard = true;
      phrase.late_s = -match->offset_s;
      phrase.sigma_s = kFarSigma_s;
      phrase.inverted = match->inverted;
    }
    return {};
  }

  /// Where the track is mute and the mix is not.
  std::vector<Quarters> mute_talk_of(std::size_t k) const {
    std::vector<Quarters> mute;
    for (std::size_t q = 0; q < levels_[k].size(); ++q) {
      if (!is_mute(k, q) || mix_levels_[q] < kTalk_db) continue;
      if (mute.empty() || q > mute.back().to + kPause) mute.push_back({q, q});
      mute.back().to = q + 1;
    }
    return mute;
  }

  Result<void> find_missing(std::size_t k, WindowMeter& meter,
                            std::vector<Stretch>& missing) const {
    std::size_t count = 0;
    std::vector<Stretch> found;
    for (const Quarters& talk : mute_talk_of(k))
      for (const Quarters& part : parts_of(talk)) {
        if (stopped()) return {};
        if (part.count() < kShortest) continue;
        const auto across = is_across_the_room(k, part, meter);
        if (!across) return across.error();
        if (!*across) continue;
        count += part.count();
        if (!found.empty() && part.from_s() - found.back().line_to_s < kMargin_s)
          found.back().line_to_s = part.to_s();
        else
          found.push_back({part.from_s(), part.to_s()});
      }
    if (count >= kLeastMute) missing = std::move(found);
    return {};
  }

  /// Whether all that hear what the mix has there hear it later, and nobody in place.
  Result<bool> is_across_the_room(std::size_t k, const Quarters& part, WindowMeter& meter) const {
    std::vector<MappedTrack> hearing;
    for (std::size_t j = 0; j < tracks_.size(); ++j)
      if (j != k && most_db(j, part) >= kFaintest_db) hearing.push_back(tracks_[j]);
    if (hearing.empty()) return false;
    const auto readings = read(part, hearing, meter);
    if (!readings) return readings.error();
    bool any = false;
    for (const Reading& reading : *readings) {
      if (!is_heard(reading)) continue;
      if (reading.offset_s > -kInPlace_s || reading.offset_s < -kThroughTheRoom_s) return false;
      any = true;
    }
    return any;
  }

  const AnalysisSignal& mix_;
  double length_s_;
  const std::vector<MappedTrack>& tracks_;
  const PhraseOptions& options_;
  std::vector<std::vector<double>> levels_;  // by track and quarter, over its loudest talk
  std::vector<double> mix_levels_;           // by quarter, over its loudest
};

}  // namespace

Result<std::vector<TrackPhrases>> measure_phrases(const AnalysisSignal& mix, double mix_length_s,
                                                  const std::vector<MappedTrack>& tracks,
                                                  const PhraseOptions& options) {
  return Search(mix, mix_length_s, tracks, options).run();
}

}  // namespace kilter::sync

#include "kilter/sync/align.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <thread>

#include "common_onsets.h"
#include "judgement.h"
#include "kilter/base/parallel.h"
#include "kilter/signal/onset_features.h"
#include "kilter/signal/rate_corrected_signal.h"
#include "kilter/sync/copies.h"
#include "kilter/sync/excursions.h"
#include "kilter/sync/few_words.h"
#include "kilter/sync/first_map.h"
#include "kilter/sync/lanes.h"
#include "kilter/sync/leaks.h"
#include "kilter/sync/rate_hypotheses.h"
#include "kilter/sync/seam_place.h"
#include "kilter/sync/unexplained.h"
#include "kilter/sync/window_meter.h"
#include "own_voice.h"
#include "recorders.h"
#include "seams.h"
#include "track_fit.h"
#include "track_state.h"

namespace kilter::sync {
namespace {

/// One pass over the session: windows of one length, offsets searched so far round the maps.
struct Pass {
  const char* stage;
  double window_s;
  double search_s;
  // Of a long session so many windows, spread evenly over it: one every so often, but not fewer
  // than some and not more than others.
  double every_s;
  int fewest_windows;
  int most_windows;
  bool spares_short;  // leaves out no window of a short stretch
  bool fills_in;      // measures what it left out where a track steps in between
};

// Short windows first: what drift is left in a map smears long ones. The coarse joint pass must
// span the bleed delays by which the pairwise pass may be off; the fine one, its maps right by
// then, looks far round them for parts of a track that lie elsewhere.
constexpr int kAll = 1 << 30;
constexpr Pass kPairwise{"first offsets", 2.5, 0.050, 22.0, 120, 320, false, false};
constexpr Pass kCoarse{"joint, coarse", 4.0, 0.020, 22.0, 120, 320, false, false};
constexpr Pass kFine{"joint, fine", 6.0, 0.045, 15.0, 240, kAll, true, true};
constexpr Pass kFinal{"joint, final", 10.0, 0.003, 30.0, 120, kAll, true, false};

// Where the final pass leaves no window out: a stretch of a track, or what it says, so short that
// its windows are needed.
constexpr double kShortStretch_s = 600.0;
constexpr std::size_t kFewClear = 40;
constexpr LineFitOptions kPairwiseFit{
    .max_slope = 250e-6, .cluster_s = 1.0e-3, .sigma_floor_s = 2e-6};
constexpr LineFitOptions kCoarseFit{
    .max_slope = 120e-6, .cluster_s = 0.20e-3, .sigma_floor_s = 2e-6};

// What the pairwise pass may be off at the session's ends, when it has followed neighbours' voices.
constexpr double kFirstOffset_s = 0.012;

constexpr double kWindowsWanted = 12.0;
constexpr double kShortestWindow_s = 2.5;
constexpr double kSecondsPerTrack = 0.14;  // a frame every 0.128 s
constexpr double kLeastEvidence = 14.0;    // windows that agree by chance reach 8 sigma or so
constexpr double kLeastShare = 0.2;
constexpr double kFineGate_s = 1.0e-3;  // of a recorder's windows round its best known track
constexpr double kFinalGate_s = 0.25e-3;
constexpr double kRestless_s = 1.0e-3;
constexpr double kOneStep_s = 0.5e-3;  // more than what the coarse maps are off by changes over
                                       // a minute
constexpr double kLeakReach_s = 0.8;   // a loudspeaker's way through a network and back
constexpr double kUnvouchedTalk_s = 1.5;
constexpr double kUnvouchedInRoom_s = 3.0;  // where it may be a neighbour's, faintly heard
constexpr int kMixStepRounds = 6;
constexpr double kCopyUncertainty_us = 10.0;
constexpr double kOwnMargin = 1.5;
constexpr double kSurelyOwn = 5.0;
constexpr double kSameLag_s = 0.030;
constexpr int kOwnLineRounds = 3;
// A stray of a second is good to a fraction of a sample.
constexpr double kScoutSigma_s = 20e-6;
constexpr double kScoutCoherence = 0.8;
constexpr double kLaneWidth_s = 0.030;  // lags closer than this are one lane
constexpr double kSameLane_s = 1e-3;
constexpr double kSharedStray_s = 2e-3;
constexpr int kLeastInPlace = 2;  // quarters of a second
constexpr double kWordReach_s = 0.5;
constexpr double kHalfTold = 0.7;  // coherence from which one line explains more than half
constexpr double kOnLine_s = 0.1e-3;
constexpr double kLongestExcursion_s = 0.075;
constexpr double kFitGate_s = 0.12e-3;
// People in one room share 0.4 and more of their onsets, others below 0.02.
constexpr double kNeighbours = 0.1;

class Aligner {
 public:
  Aligner(const MixInput& mix, const std::vector<TrackInput>& tracks, const AlignOptions& options)
      : mix_(mix), tracks_(tracks), options_(options), states_(tracks.size()) {
    corrected_.resize(tracks.size());
    mix_spans_ = {{0.0, mix_.length_s, 0.0, mix_.length_s, 0.0}};
  }

  Result<Alignment> run() {
    if (auto done = find_first_maps(); !done) return done.error();
    if (auto done = set_copies_apart(); !done) return done.error();
    if (auto done = choose_own_lines(); !done) return done.error();
    if (auto done = measure(kPairwise, false, 0.15, 0.25); !done) return done.error();
    for_placed([&](TrackState& state) { refit_coarsely(state, kPairwiseFit); });
    find_lanes_again();
    if (auto done = measure(kCoarse, options_.joint, 0.25, 0.35); !done) return done.error();
    LineFitOptions coarse = kCoarseFit;
    coarse.max_slope = std::min(coarse.max_slope, kFirstOffset_s / mix_.length_s);
    for_placed([&](TrackState& state) { refit_coarsely(state, coarse); });
    find_lanes_again();
    drop_unsupported(0.0);
    if (auto done = measure(kFine, options_.joint, 0.35, 0.70); !done) return done.error();
    const std::vector<TrackState> fine = states_;
    if (auto done = settle(0.70, 0.92); !done) return done.error();
    if (auto done = find_strays(); !done) return done.error();
    std::vector<std::vector<Measured>> scouts;
    for (std::size_t k = 0; k < states_.size(); ++k) scouts.push_back(scouts_of(k));
    // Without any, all would settle as before.
    if (std::any_of(scouts.begin(), scouts.end(), [](const auto& each) { return !each.empty(); })) {
      states_ = fine;
      for (std::size_t k = 0; k < states_.size(); ++k) send_out(std::move(scouts[k]), states_[k]);
      if (auto done = settle(0.92, 0.96); !done) return done.error();
      if (auto done = find_strays(); !done) return done.error();
    }
    if (auto done = compare_with_unplaced(); !done) return done.error();
    if (options_.recorders)  // else siblings do not vouch for one who says nothing
      if (auto done = find_borrowed_voices(tracks_, options_.threads, options_.stop, states_);
          !done)
        return done.error();
    auto alignment = conclude();
    report(1.0, "done");
    return alignment;
  }

 private:
  bool stopped() const { return options_.stop != nullptr && options_.stop->load(); }
  static Error interrupted() { return {ErrorKind::interrupted, {}, "interrupted", ""}; }
  void report(double done, const char* stage) const {
    if (options_.progress) options_.progress(done, stage);
  }
  template <typename Work>
  void for_placed(const Work& work) {
    parallel_for(static_cast<int>(states_.size()), options_.threads, [&](int k) {
      TrackState& state = states_[static_cast<std::size_t>(k)];
      if (state.placed) work(state);
    });
  }

  /// From the fine pass's windows to the final maps.
  Result<void> settle(double done_from, double done_to) {
    mix_spans_ = {{0.0, mix_.length_s, 0.0, mix_.length_s, 0.0}};
    if (auto done = find_levels(done_from, done_to); !done) return done.error();
    drop_unsupported(kLeastShare);
    if (options_.recorders)
      find_recorders(states_);
    else
      for (std::size_t k = 0; k < states_.size(); ++k) states_[k].recorder = static_cast<int>(k);
    if (auto done = find_seams(); !done) return done.error();
    fit_recorders(kFineGate_s);
    if (!seams_.empty()) {
      // Until then the neighbours' maps were off behind the seams, and their voices unexplained.
      if (auto done = measure(kFine, options_.joint, done_from, done_from); !done)
        return done.error();
      fit_recorders(kFineGate_s);
    }
    keep_clear_windows();
    if (auto done = measure(kFinal, options_.joint, done_from, done_to); !done) return done.error();
    for_placed([&](TrackState& state) { recall_scouts(state); });
    fit_finally();
    if (auto done = place_seams_again(mix_, tracks_, options_.threads, mix_spans_, seams_, states_);
        !done)
      return done.error();
    fit_finally();
    drop_unsupported(kLeastShare);
    return {};
  }

  Result<void> find_levels(double done_from, double done_to) {
    for_placed([&](TrackState& state) { fit_own_levels(state); });
    const auto stairs = [](const TrackState& state) {
      return state.placed && goes_in_stairs(state);
    };
    if (std::none_of(states_.begin(), states_.end(), stairs)) return {};
    // The windows were measured through the mean drift, and a stream that stands still between
    // splices runs off them.
    if (auto done = measure(kFine, options_.joint, done_from, done_to); !done) return done.error();
    for_placed([&](TrackState& state) { fit_own_levels(state); });
    std::vector<std::optional<Error>> errors(states_.size());
    parallel_for(static_cast<int>(states_.size()), options_.threads, [&](int i) {
      const auto k = static_cast<std::size_t>(i);
      TrackState& state = states_[k];
      if (!stairs(state)) return;
      if (auto done = place_splices(k); !done) errors[k] = done.error();
      flatten_staircase(state);
      cut_half_way(state);
      make_map(state, mix_spans_);
    });
    for (const auto& error : errors)
      if (error) return *error;
    return {};
  }

  void fit_own_levels(TrackState& state) const {
    if (fit_levels(state)) cut_half_way(state);
    make_map(state, mix_spans_);
  }

  /// Between windows a splice may lie anywhere, in the mix itself as far as it hits a pause.
  Result<void> place_splices(std::size_t k) {
    TrackState& state = states_[k];
    for (Step& step : state.steps) {
      const auto level = static_cast<std::size_t>(step.level);
      const SeamWitness witness{tracks_[k].signal,
                                {state.curve.start_s[level], state.curve.rate},
                                {state.curve.start_s[level + 1], state.curve.rate}};
      const auto place = place_seam(*mix_.signal, {witness}, step.step_s,
                                    std::max(0.0, step.mix_from_s - 0.5 * kFine.window_s),
                                    std::min(mix_.length_s, step.mix_to_s + 0.5 * kFine.window_s));
      if (!place) return place.error();
      // The windows nearest to it on either line hold it off, too.
      double before_s = 0.0;
      double after_s = mix_.length_s;
      for (const Measured& m : state.measured) {
        if (m.reading.coherence < kHalfTold) continue;
        if (std::abs(m.mix_s - witness.before.to_mix(m.track_s)) < kOnLine_s &&
            m.at_s <= step.mix_to_s)
          before_s = std::max(before_s, m.at_s - 0.5 * kFine.window_s);
        if (std::abs(m.mix_s - witness.after.to_mix(m.track_s)) < kOnLine_s &&
            m.at_s >= step.mix_from_s)
          after_s = std::min(after_s, m.at_s + 0.5 * kFine.window_s);
      }
      if (before_s > after_s) continue;
      step.mix_from_s = std::clamp(place->earliest_s, before_s, after_s);
      step.mix_to_s = std::clamp(place->latest_s, before_s, after_s);
    }
    return {};
  }

  void fit_finally() {
    // The steps of the mix and the clocks' lines settle together.
    for (int round = 0; round < kMixStepRounds && mix_spans_.size() > 1; ++round) {
      refine_mix_steps();
      fit_recorders(kFinalGate_s);
    }
    fit_recorders(kFinalGate_s);
  }

  /// What each track says elsewhere than on its map.
  Result<void> find_strays() {
    const std::vector<bool> remote = remote_tracks();
    std::vector<std::optional<Error>> errors(states_.size());
    parallel_for(static_cast<int>(states_.size()), options_.threads, [&](int i) {
      const auto k = static_cast<std::size_t>(i);
      TrackState& state = states_[k];
      state.strays.clear();
      state.moved.clear();
      state.unvouched_s.reset();
      state.shared_stray_s.reset();
      state.faint = false;
      // A stream that goes in stairs is off its line all along.
      if (!state.placed || state.apart || state.splice_s > 0.0 || stopped()) return;
      auto found = sync::find_strays(*mix_.signal, {tracks_[k].signal, &*state.map},
                                     {.stop = options_.stop});
      if (!found) {
        errors[k] = found.error();
        return;
      }
      const bool streamed = state.streamed = remote[k] || is_alone(k);
      state.faint = found->least_in_place < kLeastInPlace || (!streamed && knows_by_scouts(state));
      if (found->nowhere_s >= (streamed ? kUnvouchedTalk_s : kUnvouchedInRoom_s))
        state.unvouched_s = found->nowhere_at_s;
      for (const Stray& stray : found->elsewhere) {
        // A stream's buffer comes and goes.
        const bool excursion = streamed && stray.amid_others &&
                               std::abs(stray.mix_s - stray.mapped_s) < kLongestExcursion_s;
        if (excursion)
          state.moved.push_back(stray);
        else if (!is_lone(stray, found->elsewhere))
          state.strays.push_back(stray);
      }
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return interrupted();
    if (auto done = set_leaks_aside(remote); !done) return done.error();
    doubt_the_mix();
    return {};
  }

  /// One word amid others that are in place: no fault brings it there and back, but another word
  /// may sound like it.
  static bool is_lone(const Stray& stray, const std::vector<Stray>& all) {
    const double off_s = stray.mix_s - stray.mapped_s;
    const auto alike = std::count_if(all.begin(), all.end(), [&](const Stray& other) {
      return std::abs(other.mix_s - other.mapped_s - off_s) < kSharedStray_s;
    });
    return stray.amid_others && alike < 2;
  }

  /// What leaks into a track is heard elsewhere, and says nothing of the track.
  Result<void> set_leaks_aside(const std::vector<bool>& remote) {
    if (std::all_of(states_.begin(), states_.end(),
                    [](const TrackState& state) { return state.strays.empty(); }))
      return {};
    if (auto done = hear_leaks(remote); !done) return done.error();
    for (std::size_t k = 0; k < states_.size(); ++k)
      std::erase_if(states_[k].strays, [&](const Stray& stray) {
        return is_leak(leaks_, k, stray.mix_s - stray.mapped_s);
      });
    return {};
  }

  /// Whether a stretch between two seams is placed by strays alone: in a room they may be a
  /// neighbour's words.
  static bool knows_by_scouts(const TrackState& state) {
    for (const Piece& piece : state.pieces) {
      bool scouted = false;
      bool windowed = false;
      for (std::size_t i = 0; i < state.measured.size(); ++i) {
        const Measured& m = state.measured[i];
        if (m.track_s < piece.from_s || m.track_s > piece.to_s || state.weights[i] <= 0.1) continue;
        (m.piece >= kScoutLanes ? scouted : windowed) = true;
      }
      if (scouted && !windowed) return true;
    }
    return false;
  }

  /// Whether another track is off by as much: then neither a buffer nor a neighbour did it.
  bool is_shared(std::size_t k, const Stray& stray) const {
    const double off_s = stray.mix_s - stray.mapped_s;
    for (std::size_t other = 0; other < states_.size(); ++other) {
      if (other == k || states_[other].recorder == states_[k].recorder) continue;
      for (const Stray& its : states_[other].strays)
        if (std::abs(its.mix_s - its.mapped_s - off_s) < kSharedStray_s) return true;
    }
    return false;
  }

  void doubt_the_mix() {
    double off_s = 0.0;
    for (std::size_t k = 0; k < states_.size(); ++k)
      for (const Stray& stray : states_[k].strays)
        if (is_shared(k, stray)) off_s = std::max(off_s, std::abs(stray.mix_s - stray.mapped_s));
    if (off_s > 0.0)
      for (TrackState& state : states_) state.shared_stray_s = off_s;
  }

  /// Strays as windows, those that agree on one lane. What a stream's buffer may have done is left
  /// to the windows: it would come back.
  std::vector<Measured> scouts_of(std::size_t k) const {
    const TrackState& state = states_[k];
    std::vector<Measured> scouts;
    if (state.strays.empty()) return scouts;
    int lane = kScoutLanes;
    double lag_s = 0.0;
    double inverted = 0.0;
    for (std::size_t i = 0; i < state.measured.size(); ++i)
      inverted += state.weights[i] * (state.measured[i].reading.inverted ? 1.0 : -1.0);
    for (const Stray& stray : state.strays) {
      if (state.streamed && std::abs(stray.mix_s - stray.mapped_s) < kLongestExcursion_s &&
          !is_shared(k, stray))
        continue;
      const double here_s = stray.mix_s - stray.track_s * state.curve.rate;
      if (!scouts.empty() && std::abs(here_s - lag_s) > kSameLane_s) ++lane;
      lag_s = here_s;
      Reading reading;
      reading.heard = true;
      reading.offset_s = stray.mix_s - stray.mapped_s;
      reading.sigma_s = kScoutSigma_s;
      reading.peak_sigma = stray.peak_sigma;
      reading.coherence = kScoutCoherence;
      reading.inverted = inverted > 0.0;
      scouts.push_back({stray.mix_s, stray.track_s, stray.mix_s, kScoutSigma_s, lane, reading});
    }
    return scouts;
  }

  /// A window that holds a stray says only where the rest of it lies.
  static void send_out(std::vector<Measured> scouts, TrackState& state) {
    std::erase_if(state.measured, [&](const Measured& m) {
      return std::any_of(scouts.begin(), scouts.end(), [&](const Measured& scout) {
        const double mapped_s = scout.mix_s - scout.reading.offset_s;
        return std::abs(m.at_s - mapped_s) < 0.5 * kFine.window_s;
      });
    });
    state.measured.insert(state.measured.end(), scouts.begin(), scouts.end());
    std::stable_sort(state.measured.begin(), state.measured.end(),
                     [](const Measured& a, const Measured& b) { return a.at_s < b.at_s; });
    state.scouts = std::move(scouts);
  }

  /// A piece too short for a window is known by its scouts alone.
  void recall_scouts(TrackState& state) const {
    for (const Measured& scout : state.scouts) {
      const int level = level_at(state, scout.track_s);
      if (level < 0) continue;
      const double away_s = on_timeline_s(scout) - state.curve.line_s(level, scout.track_s);
      if (std::abs(away_s) < kFinalGate_s) state.measured.push_back(scout);
    }
  }

  Result<void> find_first_maps() {
    report(0.0, "listening");
    const int count = static_cast<int>(tracks_.size());
    features_.resize(tracks_.size());
    std::vector<std::optional<Error>> errors(tracks_.size() + 1);
    parallel_for(count + 1, options_.threads, [&](int i) {
      if (stopped()) return;
      const auto at = static_cast<std::size_t>(i);
      auto made = onset_features(i == count ? *mix_.signal : *tracks_[at].signal, options_.stop);
      if (!made)
        errors[at] = made.error();
      else
        (i == count ? mix_features_ : features_[at]) = *std::move(made);
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return interrupted();
    report(0.08, "first map");
    parallel_for(count, options_.threads, [&](int i) {
      if (stopped()) return;
      const auto at = static_cast<std::size_t>(i);
      TrackState& state = states_[at];
      state.length_s = std::max(tracks_[at].length_s, 1.0 / kAnalysisRateHz);
      state.first = first_map(mix_features_, features_[at], options_.stop);
      if (auto done = correct_rate(at); !done) errors[at] = done.error();
      if (!state.first.found) {
        auto words = map_of_few_words(*mix_.signal, *tracks_[at].signal, options_.stop);
        if (words)
          state.first = *std::move(words);
        else
          errors[at] = words.error();
      }
      if (state.first.found) put_first(at);
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return interrupted();
    return {};
  }

  /// A wrong header is put right before anything else looks at the track.
  Result<void> correct_rate(std::size_t k) {
    if (tracks_[k].rate_hz <= 0.0) return {};
    TrackState& state = states_[k];
    auto verdict = find_rate(mix_features_, *tracks_[k].signal, features_[k], tracks_[k].rate_hz,
                             state.first, options_.stop);
    if (!verdict) return verdict.error();
    if (verdict->ratio == 1.0) return {};
    corrected_[k] = std::make_unique<RateCorrectedSignal>(*tracks_[k].signal, verdict->ratio);
    tracks_[k].signal = corrected_[k].get();
    features_[k] = std::move(verdict->features);
    state.first = std::move(verdict->map);
    state.rate_ratio = verdict->ratio;
    state.length_s /= verdict->ratio;
    return {};
  }

  /// Copies and mixes explain what others said: they are measured by themselves.
  Result<void> set_copies_apart() {
    std::vector<CopyCandidate> candidates;
    for (std::size_t k = 0; k < states_.size(); ++k)
      candidates.push_back({tracks_[k].signal, &states_[k].first});
    auto found =
        find_copies(*mix_.signal, mix_features_, candidates, options_.threads, options_.stop);
    if (!found) return found.error();
    copies_ = *std::move(found);
    for (std::size_t k = 0; k < states_.size(); ++k) {
      states_[k].apart = copies_[k].kind == CopyKind::own_mix;
      // Its place follows from what it copies.
      if (copies_[k].kind == CopyKind::of_track || copies_[k].kind == CopyKind::of_mix)
        states_[k].placed = false;
    }
    return {};
  }

  /// Where a track is heard at two lags at once, one is another's voice that leaks into it.
  Result<void> choose_own_lines() {
    // One that is put right explains more of what the next one only seemed to.
    for (int round = 0; round < kOwnLineRounds; ++round) {
      auto changed = choose_own_lines_once();
      if (!changed) return changed.error();
      if (!*changed) break;
    }
    return {};
  }

  Result<bool> choose_own_lines_once() {
    std::vector<std::optional<Error>> errors(states_.size());
    std::vector<OwnLag> own(states_.size());
    parallel_for(static_cast<int>(states_.size()), options_.threads, [&](int i) {
      const auto k = static_cast<std::size_t>(i);
      if (!states_[k].placed || states_[k].apart || stopped()) return;
      auto chosen = own_lag(k);
      if (!chosen)
        errors[k] = chosen.error();
      else
        own[k] = *std::move(chosen);
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return interrupted();
    bool changed = false;
    for (std::size_t k = 0; k < states_.size(); ++k) {
      states_[k].leak_lags_s = std::move(own[k].of_leaks_s);
      if (!own[k].better_s) continue;
      changed = true;
      states_[k].pieces = {{0.0, states_[k].length_s, 0}};
      states_[k].curve.start_s = {*own[k].better_s};
      make_map(states_[k], mix_spans_);
    }
    return changed;
  }

  struct OwnLag {
    std::optional<double> better_s;  // than the one it has
    std::vector<double> of_leaks_s;
  };

  Result<OwnLag> own_lag(std::size_t k) const {
    const TrackState& state = states_[k];
    std::vector<Lane> lanes;
    for (const Piece& piece : state.pieces)
      lanes.push_back({state.curve.start_s[static_cast<std::size_t>(piece.level)], piece.from_s,
                       piece.to_s, 0.0});
    std::vector<TimeMap> maps{*state.map};
    std::vector<double> of_map{lanes.front().lag_s};
    for (const double lag_s :
         lags_beside(mix_features_, features_[k], state.first, lanes, kLeakReach_s))
      if (auto map = TimeMap::line(lag_s, state.first.drift_ppm, state.length_s, 0.0)) {
        maps.push_back(*std::move(map));
        of_map.push_back(lag_s);
      }
    if (maps.size() < 2) return OwnLag{};
    std::vector<MappedTrack> others;
    for (std::size_t other = 0; other < states_.size(); ++other)
      if (other != k && states_[other].placed && !states_[other].apart)
        others.push_back({tracks_[other].signal, &*states_[other].map});
    const auto own = choose_own_line(*mix_.signal, others, *tracks_[k].signal, maps);
    if (!own) return own.error();
    OwnLag lag;
    if (own->index > 0 && own->margin >= kOwnMargin) lag.better_s = of_map[own->index];
    if (own->margin >= kSurelyOwn && (own->index > 0 || lanes.size() == 1))
      for (std::size_t m = 0; m < of_map.size(); ++m)
        if (m != own->index) lag.of_leaks_s.push_back(of_map[m]);
    return lag;
  }

  /// Pieces and curve of the first map's lanes.
  void put_first(std::size_t k) {
    TrackState& state = states_[k];
    auto lanes = find_lanes(mix_features_, features_[k], state.first, state.length_s);
    if (lanes.size() > 1) {
      // The one line through all of them may have taken a step for a drift.
      FirstMap again = with_drift_between_steps(state.first);
      const double slid_s =
          std::abs(again.drift_ppm - state.first.drift_ppm) * 1e-6 * state.length_s;
      if (slid_s > kLaneWidth_s) {
        state.first = std::move(again);
        lanes = find_lanes(mix_features_, features_[k], state.first, state.length_s);
      }
    }
    put_lanes(state, lanes, state.first.drift_ppm);
  }

  /// With the drift better known, lanes may part that it had run together: a small step looks like
  /// a drift to the first map. And where it was so wrong that a lane ran off itself, all are new.
  void find_lanes_again() {
    parallel_for(static_cast<int>(states_.size()), options_.threads, [&](int i) {
      const auto k = static_cast<std::size_t>(i);
      TrackState& state = states_[k];
      if (!state.placed) return;
      const double slid_s =
          std::abs(state.drift_ppm() - state.lanes_drift_ppm) * 1e-6 * state.length_s;
      if (state.pieces.size() != 1 && slid_s < kLaneWidth_s) return;
      FirstMap map = state.first;
      map.lag_s = state.curve.start_s[static_cast<std::size_t>(state.pieces.front().level)];
      map.drift_ppm = state.drift_ppm();
      const auto lanes = find_lanes(mix_features_, features_[k], map, state.length_s);
      const bool of_leaks = std::any_of(lanes.begin(), lanes.end(), [&](const Lane& lane) {
        return std::any_of(state.leak_lags_s.begin(), state.leak_lags_s.end(),
                           [&](double lag_s) { return std::abs(lane.lag_s - lag_s) < kSameLag_s; });
      });
      const bool differs = lanes.size() > 1 || state.pieces.size() > 1;
      if (differs && !of_leaks) put_lanes(state, lanes, map.drift_ppm);
    });
  }

  void put_lanes(TrackState& state, const std::vector<Lane>& lanes, double drift_ppm) const {
    state.lanes_drift_ppm = drift_ppm;
    state.curve = {};
    state.curve.rate = 1.0 / (1.0 + drift_ppm * 1e-6);
    state.curve.start_s.clear();
    state.pieces.clear();
    for (const Lane& lane : lanes) {
      state.pieces.push_back(
          {lane.from_s, lane.to_s, static_cast<int>(state.curve.start_s.size())});
      state.curve.start_s.push_back(lane.lag_s);
    }
    make_map(state, mix_spans_);
  }

  void refit_coarsely(TrackState& state, const LineFitOptions& options) const {
    fit_coarsely(state, options);
    make_map(state, mix_spans_);
  }

  /// The tracks of one pass, and what measures them.
  struct Measuring {
    std::vector<std::size_t> placed;  // in the order of their readings
    std::vector<MappedTrack> together;
    std::vector<MappedTrack> apart;
    double search_s{0.0};
    double window_s{0.0};
  };

  /// Measures windows of the mix against all placed tracks.
  Result<void> measure(const Pass& pass, bool joint, double done_from, double done_to) {
    std::vector<std::size_t> apart;
    Measuring with;
    with.search_s = pass.search_s;
    for (std::size_t k = 0; k < states_.size(); ++k) {
      states_[k].measured.clear();
      states_[k].weights.clear();
      if (!states_[k].placed) continue;
      const bool joins = joint && !states_[k].apart;
      (joins ? with.placed : apart).push_back(k);
      (joins ? with.together : with.apart).push_back({tracks_[k].signal, &*states_[k].map});
      with.search_s = std::max(with.search_s, states_[k].splice_s);
    }
    with.placed.insert(with.placed.end(), apart.begin(), apart.end());
    if (with.placed.empty()) return {};
    with.window_s = window_length_s(pass, with.placed.size());
    const double middle = pass.fills_in ? done_from + 0.8 * (done_to - done_from) : done_to;
    std::vector<bool> chosen = choose_windows(pass, with.window_s);
    if (auto done = measure(with, starts_of(chosen, with.window_s), pass.stage, done_from, middle);
        !done)
      return done;
    if (!pass.fills_in) return {};
    passed_over_s_.clear();
    const std::vector<bool> more = windows_between_steps(chosen, with);
    if (auto done = measure(with, starts_of(more, with.window_s), pass.stage, middle, done_to);
        !done)
      return done;
    for (std::size_t w = 0; w < chosen.size(); ++w)
      if (!chosen[w] && !more[w])
        passed_over_s_.push_back((static_cast<double>(w) + 0.5) * with.window_s);
    for (const std::size_t k : with.placed)
      std::stable_sort(states_[k].measured.begin(), states_[k].measured.end(),
                       [](const Measured& a, const Measured& b) { return a.at_s < b.at_s; });
    return {};
  }

  Result<void> measure(const Measuring& with, const std::vector<double>& starts_s,
                       const char* stage, double done_from, double done_to) {
    const int windows = static_cast<int>(starts_s.size());
    if (windows == 0) return {};
    std::vector<std::vector<Reading>> readings(starts_s.size());
    std::vector<std::optional<Error>> errors(starts_s.size());
    const int workers = std::clamp(options_.threads, 1, windows);
    const auto caller = std::this_thread::get_id();
    parallel_for(workers, workers, [&](int worker) {
      WindowMeter meter({.search_s = with.search_s, .joint = true});
      WindowMeter meter_apart({.search_s = with.search_s, .joint = false});
      for (int w = worker; w < windows && !stopped(); w += workers) {
        const auto at = static_cast<std::size_t>(w);
        for (const auto* part : {&with.together, &with.apart}) {
          if (part->empty()) continue;
          WindowMeter& by = part == &with.together ? meter : meter_apart;
          auto measured = by.measure(*mix_.signal, *part, starts_s[at], with.window_s);
          if (measured)
            readings[at].insert(readings[at].end(), measured->begin(), measured->end());
          else
            errors[at] = measured.error();
        }
        if (std::this_thread::get_id() == caller)
          report(done_from + (done_to - done_from) * w / windows, stage);
      }
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return interrupted();

    for (std::size_t w = 0; w < starts_s.size(); ++w)
      for (std::size_t i = 0; i < with.placed.size(); ++i) {
        const Reading& reading = readings[w][i];
        if (reading.heard)
          add_measured(states_[with.placed[i]], reading, starts_s[w], with.window_s);
      }
    return {};
  }

  /// Of the windows that are not chosen, those between two clear ones of a track that do not agree
  /// on where it lies.
  std::vector<bool> windows_between_steps(const std::vector<bool>& chosen,
                                          const Measuring& with) const {
    std::vector<bool> between(chosen.size(), false);
    for (const std::size_t k : with.placed) {
      const Measured* before = nullptr;
      for (const Measured& m : states_[k].measured) {
        if (!is_clear(m.reading)) continue;
        if (before != nullptr &&
            std::abs(m.reading.offset_s - before->reading.offset_s) > kOneStep_s) {
          const auto last = static_cast<std::size_t>(m.at_s / with.window_s);
          for (auto w = static_cast<std::size_t>(before->at_s / with.window_s); w < last; ++w)
            between[w] = !chosen[w];
        }
        before = &m;
      }
    }
    return between;
  }

  /// Which of the windows that fill the mix one after the other a pass measures.
  std::vector<bool> choose_windows(const Pass& pass, double window_s) const {
    const auto all =
        static_cast<std::size_t>(std::max(1.0, std::ceil(mix_.length_s / window_s - 1e-6)));
    const auto spread =
        std::min(all, static_cast<std::size_t>(std::clamp(mix_.length_s / pass.every_s,
                                                          static_cast<double>(pass.fewest_windows),
                                                          static_cast<double>(pass.most_windows))));
    std::vector<bool> chosen(all, false);
    for (std::size_t w = 0; w < spread; ++w) chosen[(2 * w + 1) * all / (2 * spread)] = true;
    if (pass.spares_short) choose_needed(window_s, chosen);
    return chosen;
  }

  /// Mix seconds at which chosen windows begin.
  std::vector<double> starts_of(const std::vector<bool>& chosen, double window_s) const {
    std::vector<double> starts_s;
    for (std::size_t w = 0; w < chosen.size(); ++w)
      if (chosen[w])  // the last one ends with the mix; it may overlap the one before
        starts_s.push_back(
            std::max(0.0, std::min(static_cast<double>(w) * window_s, mix_.length_s - window_s)));
    return starts_s;
  }

  /// Adds the windows of short stretches, and of tracks that say little.
  void choose_needed(double window_s, std::vector<bool>& chosen) const {
    const auto choose = [&](double from_s, double to_s) {
      const auto last = static_cast<double>(chosen.size() - 1);
      const auto from = static_cast<std::size_t>(std::clamp(from_s / window_s, 0.0, last));
      const auto to = static_cast<std::size_t>(std::clamp(to_s / window_s, 0.0, last));
      for (std::size_t w = from; w <= to; ++w) chosen[w] = true;
    };
    for (const Span& span : mix_spans_)
      if (span.to_s - span.from_s < kShortStretch_s) choose(span.from_s, span.to_s);
    for (const TrackState& state : states_) {
      if (!state.placed) continue;
      for (const Piece& piece : state.pieces) {
        const double half_s = 0.5 * (piece.to_s - piece.from_s);
        const auto middle_s = state.map->to_line(piece.from_s + half_s);
        if (middle_s && 2.0 * half_s < kShortStretch_s)
          choose(*middle_s - half_s, *middle_s + half_s);
      }
      if (state.clear.size() < kFewClear)
        for (const ClearWindow& clear : state.clear) choose(clear.mix_s, clear.mix_s);
    }
  }

  /// A window that reaches over an end of its piece is left out: its sound may be the neighbour's.
  void add_measured(TrackState& state, const Reading& reading, double from_s,
                    double window_s) const {
    const double at_s = from_s + 0.5 * window_s;
    const auto track_s = state.map->to_track(at_s);
    if (!track_s) return;
    int piece = -1;
    for (std::size_t p = 0; p < state.pieces.size(); ++p)
      if (*track_s >= state.pieces[p].from_s && *track_s <= state.pieces[p].to_s)
        piece = static_cast<int>(p);
    if (piece < 0 || reaches_over(state, piece, from_s, from_s + window_s)) return;
    state.measured.push_back(
        {at_s, *track_s, at_s + reading.offset_s, trusted_sigma_s(reading), piece, reading});
  }

  bool reaches_over(const TrackState& state, int piece, double from_s, double to_s) const {
    for (const Span& mix : mix_spans_)
      if (mix.from_s > from_s && mix.from_s < to_s) return true;
    const auto at = static_cast<std::size_t>(piece);
    if (at > 0 && state.map->to_line(state.pieces[at].from_s).value_or(from_s) > from_s)
      return true;
    return at + 1 < state.pieces.size() &&
           state.map->to_line(state.pieces[at].to_s).value_or(to_s) < to_s;
  }

  /// A short session is cut into more windows, so that there are enough to agree; many tracks need
  /// longer ones, so that there are more frames than tracks.
  double window_length_s(const Pass& pass, std::size_t tracks) const {
    const double shortest_s =
        std::max(kShortestWindow_s, kSecondsPerTrack * (static_cast<double>(tracks) + 12.0));
    return std::max(shortest_s, std::min(pass.window_s, mix_.length_s / kWindowsWanted));
  }

  void keep_clear_windows() {
    for (TrackState& state : states_)
      for (const Measured& m : state.measured) {
        if (is_clear(m.reading)) state.clear.push_back({m.track_s, m.mix_s});
        const auto mapped_s = state.map ? state.map->to_line(m.track_s) : std::nullopt;
        if (!is_clear(m.reading) || !mapped_s || std::abs(m.mix_s - *mapped_s) > kRestless_s)
          state.restless.push_back(m.at_s);
      }
  }

  /// A track whose windows agree on nothing was placed by chance: it must not explain the others'
  /// mix.
  void drop_unsupported(double least_share) {
    for (TrackState& state : states_)
      if (state.placed && (state.used == 0 || state.used_share < least_share ||
                           state.evidence_sigma() < kLeastEvidence))
        state.placed = false;
  }

  Result<void> find_seams() {
    const std::vector<bool> remote = remote_tracks();
    seams_ = gather_seams(states_, remote);
    if (auto done = place_seams(mix_, tracks_, states_, options_.threads, seams_); !done)
      return done.error();
    mix_spans_ = mix_spans_of(seams_, mix_.length_s);
    for (const auto& members : members_of_recorders(states_))
      cut_at_seams(seams_, members, mix_spans_, states_);
    return {};
  }

  double on_timeline_s(const Measured& m) const {
    return m.mix_s + to_timeline(mix_spans_, m.at_s) - m.at_s;
  }

  int level_at(const TrackState& state, double track_s) const {
    for (const Piece& piece : state.pieces)
      if (track_s >= piece.from_s && track_s <= piece.to_s) return piece.level;
    return -1;
  }

  /// One clock: one curve through the windows of all its tracks.
  void fit_recorders(double gate_s) {
    for (const auto& members : members_of_recorders(states_)) {
      if (members.empty()) continue;
      const ClockCurve before = states_[members.front()].curve;
      if (states_[members.front()].splice_s > 0.0) {
        for (const std::size_t k : members) {
          weigh_by_splice(states_[k]);
          count_support(states_[k]);
        }
        continue;
      }
      std::vector<Pairing> pairings;
      for (const std::size_t k : members)
        for (const Measured& m : states_[k].measured) {
          Pairing pairing{m.track_s, on_timeline_s(m), m.sigma_s, level_at(states_[k], m.track_s)};
          if (pairing.level >= 0 &&
              std::abs(pairing.line_s - before.line_s(pairing.level, pairing.track_s)) > gate_s)
            pairing.level = -1;
          pairings.push_back(pairing);
        }
      ClockFitOptions options;
      options.gate_s = kFitGate_s;
      const ClockFit fit = fit_clock(pairings, before, options);
      std::size_t at = 0;
      for (const std::size_t k : members) {
        TrackState& state = states_[k];
        const auto count = static_cast<std::ptrdiff_t>(state.measured.size());
        if (fit.found) {
          const auto first = fit.weights.begin() + static_cast<std::ptrdiff_t>(at);
          state.weights.assign(first, first + count);
          state.fit = fit;
          state.curve = fit.curve;
        } else {
          state.weights.assign(state.measured.size(), 0.0);
        }
        at += static_cast<std::size_t>(count);
        count_support(state);
        make_map(state, mix_spans_);
      }
    }
  }

  /// The sizes of the mix's own steps, from the windows of all tracks on both sides.
  void refine_mix_steps() {
    if (mix_spans_.size() < 2) return;
    for (std::size_t s = 0, mix_seam = 0; s < seams_.size(); ++s) {
      if (seams_[s].cause != SeamCause::mix) continue;
      const double seam_s = seams_[s].place.mix_end_s;
      const double from_s = mix_seam > 0 ? mix_spans_[mix_seam].from_s : 0.0;
      const double to_s = mix_spans_[std::min(mix_seam + 1, mix_spans_.size() - 1)].to_s;
      ++mix_seam;
      double sum = 0.0;
      double weight = 0.0;
      for (const TrackState& state : states_) {
        if (!state.placed) continue;
        double moment[2] = {};
        double say[2] = {};
        for (const Measured& m : state.measured) {
          if (m.at_s < from_s || m.at_s > to_s) continue;
          const int level = level_at(state, m.track_s);
          if (level < 0) continue;
          const double away_s = on_timeline_s(m) - state.curve.line_s(level, m.track_s);
          if (std::abs(away_s) > kFinalGate_s || std::abs(m.at_s - seam_s) < 5.0) continue;
          const int side = m.at_s < seam_s ? 0 : 1;
          const double w = 1.0 / (m.sigma_s * m.sigma_s + 4e-12);
          moment[side] += w * away_s;
          say[side] += w;
        }
        if (say[0] <= 0.0 || say[1] <= 0.0) continue;
        const double w = 1.0 / (1.0 / say[0] + 1.0 / say[1]);
        sum += w * (moment[1] / say[1] - moment[0] / say[0]);
        weight += w;
      }
      if (weight > 0.0) seams_[s].step_s += sum / weight;
    }
    mix_spans_ = mix_spans_of(seams_, mix_.length_s);
  }

  MappedFeatures mapped_features(std::size_t k) const { return {&features_[k], &*states_[k].map}; }

  /// Nobody else's microphone hears it: a guest, recorded where they sit. A track alone with the
  /// mix could be either.
  bool is_remote(std::size_t k) const {
    if (!states_[k].placed) return false;
    bool compared = false;
    for (std::size_t other = 0; other < states_.size(); ++other) {
      if (other == k || !states_[other].placed) continue;
      if (states_[other].recorder == states_[k].recorder ||
          onsets_in_common(mapped_features(k), mapped_features(other)) > kNeighbours)
        return false;
      compared = true;
    }
    return compared;
  }

  /// What a track was placed by may be the voice of a neighbour whose own file found no place.
  Result<void> compare_with_unplaced() {
    parallel_for(static_cast<int>(states_.size()), options_.threads, [&](int i) {
      const auto k = static_cast<std::size_t>(i);
      states_[k].shares_with.reset();
      if (!states_[k].placed || states_[k].apart) return;
      for (std::size_t other = 0; other < states_.size() && !stopped(); ++other) {
        const bool is_lost = !states_[other].placed && copies_[other].kind == CopyKind::none;
        if (is_lost && first_map(features_[k], features_[other], options_.stop).found) {
          states_[k].shares_with = other;
          return;
        }
      }
    });
    if (stopped()) return interrupted();
    return {};
  }

  /// No other track tells whether it stands in a room with neighbours.
  bool is_alone(std::size_t k) const {
    for (std::size_t other = 0; other < states_.size(); ++other)
      if (other != k && states_[other].placed) return false;
    return true;
  }

  std::vector<bool> remote_tracks() const {
    std::vector<char> found(states_.size(), 0);
    parallel_for(static_cast<int>(states_.size()), options_.threads, [&](int k) {
      found[static_cast<std::size_t>(k)] = is_remote(static_cast<std::size_t>(k)) ? 1 : 0;
    });
    return {found.begin(), found.end()};
  }

  Result<Alignment> conclude() {
    Alignment alignment;
    alignment.mix_spans = mix_spans_;
    alignment.tracks.resize(states_.size());
    const std::vector<bool> remote = remote_tracks();
    if (auto done = hear_leaks(remote); !done) return done.error();
    parallel_for(static_cast<int>(states_.size()), options_.threads, [&](int k) {
      const auto at = static_cast<std::size_t>(k);
      if (!stopped()) alignment.tracks[at] = placing(at, remote[at]);
    });
    if (stopped()) return interrupted();
    for (const Seam& seam : seams_)
      if (seam.cause == SeamCause::mix)
        alignment.mix_findings.push_back(
            mix_seam_finding(seam, to_timeline(mix_spans_, seam.place.mix_end_s)));
    place_copies(alignment);
    if (auto done = add_excursions(remote, alignment); !done) return done.error();
    for (const Leak& leak : leaks_)
      alignment.tracks[leak.holder].findings.push_back(leak_finding(leak, tracks_[leak.from].name));
    if (auto done = add_unexplained(alignment); !done) return done.error();
    for (std::size_t k = 0; k < states_.size(); ++k) restore_file_time(k, alignment.tracks[k]);
    return alignment;
  }

  void place_copies(Alignment& alignment) const {
    for (std::size_t k = 0; k < states_.size(); ++k) {
      const CopyVerdict& copy = copies_[k];
      TrackPlacing& placing = alignment.tracks[k];
      if (copy.kind == CopyKind::of_track) {
        const TrackPlacing& original = alignment.tracks[copy.of];
        placing = original;
        placing.windows.clear();
        placing.windows_measured = placing.windows_used = 0;
        placing.findings = {duplicate_finding(tracks_[copy.of].name, copy)};
        if (copies_[copy.of].kind == CopyKind::own_mix)  // the other side of a mixer's stereo
          placing.findings.push_back(mix_copy_finding(copies_[copy.of]));
        placing.inverted = original.inverted != copy.inverted;
        if (original.map) placing.map = moved(*original.map, copy.delay_s, states_[k].length_s);
        if (!placing.map) placing.standing = Standing::unplaced;
      } else if (copy.kind == CopyKind::of_mix) {
        placing = {};
        placing.inverted = copy.inverted;
        placing.uncertainty_us = kCopyUncertainty_us;
        auto spans = mix_spans_;
        for (Span& span : spans) {
          span.from_s += copy.delay_s;
          span.to_s += copy.delay_s;
          span.uncertainty_us = kCopyUncertainty_us;
        }
        if (auto map = TimeMap::make(std::move(spans))) {
          placing.map = moved(*map, 0.0, states_[k].length_s);
          placing.standing = placing.map ? Standing::firm : Standing::unplaced;
        }
        placing.findings = {mix_copy_finding(copy)};
        if (placing.map) doubt_copy_of_mix(placing);
      } else if (copy.kind == CopyKind::own_mix) {
        placing.findings.insert(placing.findings.begin(), mix_copy_finding(copy));
      }
    }
  }

  /// It follows the mix's own steps, so it knows no more of them than the tracks do.
  void doubt_copy_of_mix(TrackPlacing& placing) const {
    const auto doubt = doubt_of_mix(seams_);
    if (!doubt) return;
    std::vector<Span> spans(placing.map->spans().begin(), placing.map->spans().end());
    for (Span& span : spans) span.uncertainty_us += 1e6 * doubt->off_s;
    if (auto map = TimeMap::make(std::move(spans))) placing.map = *std::move(map);
    placing.uncertainty_us += 1e6 * doubt->off_s;
    placing.standing = Standing::shaky;
    placing.findings.push_back(thin_evidence(doubt->reason));
  }

  /// The map of a copy that holds a moment `later_s` later than the original, cut to its length.
  static std::optional<TimeMap> moved(const TimeMap& map, double later_s, double length_s) {
    std::vector<Span> spans;
    for (Span span : map.spans()) {
      const double rate = span.rate();
      const double from_s = std::max(0.0, span.from_s + later_s);
      const double to_s = std::min(length_s, span.to_s + later_s);
      if (!(from_s < to_s)) continue;
      span.line_to_s = span.line_from_s + (to_s - later_s - span.from_s) * rate;
      span.line_from_s += (from_s - later_s - span.from_s) * rate;
      span.from_s = from_s;
      span.to_s = to_s;
      spans.push_back(span);
    }
    auto made = TimeMap::make(std::move(spans));
    if (!made) return std::nullopt;
    return *std::move(made);
  }

  Result<void> add_excursions(const std::vector<bool>& remote, Alignment& alignment) const {
    std::vector<std::optional<Error>> errors(states_.size());
    parallel_for(static_cast<int>(states_.size()), options_.threads, [&](int i) {
      const auto k = static_cast<std::size_t>(i);
      const TrackState& state = states_[k];
      if (!remote[k] || !state.placed || state.splice_s > 0.0 || stopped()) return;
      auto found = find_excursions(*mix_.signal, {tracks_[k].signal, &*state.map},
                                   restless_s(state), 0.5 * kFine.window_s + 0.5);
      if (!found) {
        errors[k] = found.error();
        return;
      }
      std::vector<Stretch> stretches;
      double furthest_s = 0.0;
      for (const Stray& stray : state.moved) add_moved(stray, *found);
      for (const MixExcursion& excursion : *found) {
        if (near_a_seam(k, excursion)) continue;
        stretches.push_back(
            {to_timeline(mix_spans_, excursion.from_s), to_timeline(mix_spans_, excursion.to_s)});
        if (std::abs(excursion.offset_s) > std::abs(furthest_s)) furthest_s = excursion.offset_s;
      }
      if (!stretches.empty())
        alignment.tracks[k].findings.push_back(excursion_finding(std::move(stretches), furthest_s));
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return interrupted();
    return {};
  }

  /// Where to look for excursions: windows that were not clear, and those that were left out though
  /// something was held back there.
  std::vector<double> restless_s(const TrackState& state) const {
    std::vector<double> middles_s = state.restless;
    for (const double middle_s : passed_over_s_)
      if (std::any_of(state.moved.begin(), state.moved.end(), [&](const Stray& stray) {
            return std::abs(stray.mix_s - middle_s) <= 0.5 * kFine.window_s + kWordReach_s;
          }))
        middles_s.push_back(middle_s);
    std::sort(middles_s.begin(), middles_s.end());
    return middles_s;
  }

  /// What was heard elsewhere amid a stretch that is in place, unless it is known already.
  static void add_moved(const Stray& stray, std::vector<MixExcursion>& excursions) {
    const auto after = std::find_if(
        excursions.begin(), excursions.end(),
        [&](const MixExcursion& known) { return known.to_s + kWordReach_s > stray.mix_s; });
    if (after != excursions.end() && after->from_s - kWordReach_s < stray.mix_s) return;
    excursions.insert(after, {stray.mix_s - kWordReach_s, stray.mix_s + kWordReach_s,
                              stray.mix_s - stray.mapped_s});
  }

  bool near_a_seam(std::size_t k, const MixExcursion& excursion) const {
    return std::any_of(seams_.begin(), seams_.end(), [&](const Seam& seam) {
      const bool concerns = seam.cause == SeamCause::mix || seam.recorder == states_[k].recorder;
      return concerns && excursion.from_s < seam.place.mix_from_s + 1.0 &&
             excursion.to_s > seam.place.mix_end_s - 1.0;
    });
  }

  /// Who is heard in whose track; tracks by their numbers here.
  Result<void> hear_leaks(const std::vector<bool>& remote) {
    leaks_.clear();
    std::vector<LeakTrack> heard;
    std::vector<std::size_t> which;
    for (std::size_t k = 0; k < states_.size(); ++k) {
      if (!states_[k].placed || states_[k].apart) continue;
      heard.push_back({{tracks_[k].signal, &*states_[k].map}, remote[k]});
      which.push_back(k);
    }
    if (heard.size() < 2) return {};
    auto leaks = find_leaks(heard, {.threads = options_.threads, .stop = options_.stop});
    if (!leaks) return leaks.error();
    for (Leak leak : *leaks) {
      leak.holder = which[leak.holder];
      leak.from = which[leak.from];
      leaks_.push_back(leak);
    }
    return {};
  }

  Result<void> add_unexplained(Alignment& alignment) const {
    std::vector<MappedTrack> heard;
    std::vector<TimeMap> maps;
    for (std::size_t k = 0; k < states_.size(); ++k)
      if (states_[k].placed && !states_[k].apart && alignment.tracks[k].map)
        maps.push_back(*alignment.tracks[k].map);
    std::size_t at = 0;
    for (std::size_t k = 0; k < states_.size(); ++k)
      if (states_[k].placed && !states_[k].apart && alignment.tracks[k].map)
        heard.push_back({tracks_[k].signal, &maps[at++]});
    auto mix_map = TimeMap::make(mix_spans_);
    if (heard.empty() || !mix_map) return {};
    auto found = find_unexplained({mix_.signal, &*mix_map}, heard,
                                  {.threads = options_.threads, .stop = options_.stop});
    if (!found) return found.error();
    if (!found->voice.empty()) alignment.findings.push_back(missing_voice_finding(found->voice));
    if (!found->music.empty()) alignment.findings.push_back(mix_music_finding(found->music));
    return {};
  }

  /// Back from the time of the corrected rate to the file's.
  void restore_file_time(std::size_t k, TrackPlacing& placing) const {
    const double ratio = states_[k].rate_ratio;
    if (ratio == 1.0 || !placing.map) return;
    std::vector<Span> spans(placing.map->spans().begin(), placing.map->spans().end());
    for (Span& span : spans) {
      span.from_s *= ratio;
      span.to_s *= ratio;
    }
    if (auto map = TimeMap::make(std::move(spans))) placing.map = *std::move(map);
    for (Finding& finding : placing.findings)
      if (finding.at_s) *finding.at_s *= ratio;
    placing.findings.insert(placing.findings.begin(),
                            wrong_rate_finding(tracks_[k].rate_hz, ratio));
  }

  TrackPlacing placing(std::size_t k, bool remote) const {
    const TrackState& state = states_[k];
    TrackPlacing result;
    result.match_sigma = state.first.match_sigma;
    result.windows_measured = static_cast<int>(state.measured.size());
    if (!state.placed) return result;
    const Evidence evidence{mix_, tracks_, states_, mix_spans_, seams_, leaks_};
    result.recorder = state.recorder;
    result.remote = remote;
    result.windows_used = state.used;
    result.evidence_sigma = state.evidence_sigma();
    double polarity = 0.0;
    for (std::size_t i = 0; i < state.measured.size(); ++i) {
      const Measured& m = state.measured[i];
      polarity += state.weights[i] * (m.reading.inverted ? -1.0 : 1.0);
      const double line_s = on_timeline_s(m);
      const int level = level_at(state, m.track_s);
      if (level < 0) continue;
      result.windows.push_back({to_timeline(mix_spans_, m.at_s),
                                1e6 * (line_s - state.curve.line_s(level, m.track_s)),
                                1e6 * m.sigma_s, state.weights[i]});
    }
    result.inverted = polarity < 0.0;
    auto spans = spans_of(state, [&](int level, double track_s) {
      return uncertainty_us(evidence, k, level, track_s);
    });
    for (const Span& span : spans)
      result.uncertainty_us = std::max(result.uncertainty_us, span.uncertainty_us);
    const std::optional<Doubt> doubt = doubt_of(evidence, k, result.uncertainty_us);
    result.standing = doubt ? Standing::shaky : Standing::firm;
    if (doubt) {
      for (Span& span : spans) span.uncertainty_us += 1e6 * doubt->off_s;
      result.uncertainty_us += 1e6 * doubt->off_s;
      result.findings.push_back(thin_evidence(doubt->reason));
    }
    auto map = TimeMap::make(std::move(spans));
    if (!map) return {};
    result.map = *std::move(map);
    for (const Seam& seam : seams_) {
      const bool own = std::find(seam.tracks.begin(), seam.tracks.end(), k) != seam.tracks.end();
      if (seam.cause == SeamCause::recorder ? seam.recorder == state.recorder
                                            : own && seam.cause != SeamCause::mix)
        result.findings.push_back(
            seam_finding(seam, to_timeline(mix_spans_, seam.place.mix_end_s)));
    }
    return result;
  }

  const MixInput& mix_;
  std::vector<TrackInput> tracks_;  // with the signals that are heard, not as they were headed
  std::vector<std::unique_ptr<RateCorrectedSignal>> corrected_;
  std::vector<CopyVerdict> copies_;
  const AlignOptions& options_;
  std::vector<TrackState> states_;
  OnsetFeatures mix_features_;
  std::vector<OnsetFeatures> features_;
  std::vector<Seam> seams_;
  std::vector<Leak> leaks_;
  std::vector<Span> mix_spans_;
  std::vector<double> passed_over_s_;  // middles of windows that the latest fine pass left out
};

}  // namespace

Result<Alignment> align(const MixInput& mix, const std::vector<TrackInput>& tracks,
                        const AlignOptions& options) {
  return Aligner(mix, tracks, options).run();
}

}  // namespace kilter::sync

#include "kilter/sync/align.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <thread>

#include "kilter/base/clock_text.h"
#include "kilter/base/parallel.h"
#include "kilter/signal/onset_features.h"
#include "kilter/sync/first_map.h"
#include "kilter/sync/line_fit.h"
#include "kilter/sync/window_meter.h"

namespace kilter::sync {
namespace {

/// One pass over the session: windows of one length, offsets searched so far round the maps.
struct Pass {
  const char* stage;
  double window_s;
  double search_s;
  bool joint;
  double cluster_s;  // half-width of the cluster a fit starts from
  double max_slope;  // of what is left to correct
};

// Short windows first: what drift is left in a map smears long ones. The coarse joint pass must
// span the bleed delays by which the pairwise pass may be off; the fine one, its maps right by
// then, looks far round them for parts of a track that lie elsewhere.
constexpr Pass kPairwise{"first offsets", 2.5, 0.050, false, 1.0e-3, 250e-6};
constexpr std::array kJoint{Pass{"joint, coarse", 4.0, 0.020, true, 0.20e-3, 120e-6},
                            Pass{"joint, fine", 6.0, 0.045, true, 0.06e-3, 20e-6},
                            Pass{"joint, final", 10.0, 0.003, true, 0.03e-3, 5e-6}};
constexpr std::array kAlone{Pass{"pairwise, coarse", 4.0, 0.020, false, 0.20e-3, 120e-6},
                            Pass{"pairwise, fine", 6.0, 0.045, false, 0.06e-3, 20e-6},
                            Pass{"pairwise, final", 10.0, 0.003, false, 0.03e-3, 5e-6}};

constexpr double kWindowsWanted = 12.0;
constexpr double kShortestWindow_s = 2.5;
constexpr double kSecondsPerTrack = 0.14;      // a frame every 0.128 s
constexpr int kLeastWindows = 3;               // for firm
constexpr double kLeastShare = 0.5;            // of the evidence on one line, for firm
constexpr double kFirmUncertainty_us = 500.0;  // half of what a listener may never hear
constexpr double kLeastEvidence = 14.0;        // windows that agree by chance reach 8 sigma or so
constexpr double kDispersionShare = 0.5;       // of the disagreement between low and high band
// What more windows do not average away: the phase of the mix bus's filters, ducked microphones
// (3 to 11 us seen), and what a lossy codec adds.
constexpr double kFloor_us = 8.0;
constexpr double kLossyFloor_us = 5.0;
constexpr double kDisagreement_s = 100e-6;  // standard error where the phases' coherence is 0.45
constexpr double kSameStart_s = 100e-6;     // tracks of one recorder start together
constexpr double kSameDrift_ppm = 0.5;
// People in one room share 0.4 and more of their onsets, others below 0.02.
constexpr double kNeighbours = 0.1;
constexpr std::int64_t kMinute = 60 * kFeatureRateHz;
constexpr std::int64_t kMinutesCompared = 40;
constexpr double kClearCoherence = 0.6;  // one delay explains most of the phase, and
constexpr double kClearRival = 0.5;      // no other peak comes near
constexpr int kLeastClear = 2;           // for firm
constexpr double kStep_s = 0.5e-3;       // off the line by so much, a clear window contradicts it
constexpr double kStrayShare = 0.08;     // of the clear windows may do so by chance
constexpr double kFarOff_s = 0.040;      // for votes of the first map, which are coarse
constexpr double kStrongVote = 12.0;
constexpr double kStrayVoteShare = 0.35;  // of the strongest vote on the line
constexpr double kSameLength_s = 1e-4;
constexpr double kSiblingReach_s =
    0.025;  // further apart, files that begin together are no siblings

/// A window in which one delay explains less than half of the phase, or that has two peaks alike,
/// knows less than its noise says: somebody else's voice stands in it.
double trusted_sigma_s(const Reading& reading) {
  const double disagreement = 1.0 / (reading.coherence * reading.coherence) - 4.0;
  const double ambiguity = std::max(0.0, 2.0 * reading.rival - 1.0);
  return std::hypot(reading.sigma_s, kDisagreement_s * std::max(0.0, disagreement)) /
         std::max(0.05, 1.0 - ambiguity);
}

/// A straight map while it is being found: timeline = start + rate * track.
struct TrackLine {
  double start_s{0.0};
  double rate{1.0};

  /// Corrected by an offset that is linear in timeline time.
  TrackLine corrected(const LineFit& fit) const {
    return {start_s + fit.at(start_s), rate * (1.0 + fit.slope)};
  }
  double drift_ppm() const { return (1.0 / rate - 1.0) * 1e6; }
};

double median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + std::ssize(values) / 2;
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// A window in which the track itself is heard beyond doubt, and where.
struct ClearWindow {
  double track_s{0.0};
  double line_s{0.0};
};

struct TrackState {
  bool placed{false};
  double length_s{0.0};
  TrackLine line;
  std::optional<TimeMap> map;
  FirstMap first;
  LineFit fit;
  std::vector<Observation> observations;
  std::vector<Reading> readings;   // one per observation
  std::vector<ClearWindow> clear;  // of the fine pass
  int recorder{-1};

  /// How far the used windows together stand above chance.
  double evidence_sigma() const {
    double sum = 0.0;
    for (std::size_t i = 0; i < readings.size(); ++i)
      if (fit.weights[i] > 0.1) sum += readings[i].peak_sigma * readings[i].peak_sigma;
    return std::sqrt(sum);
  }

  void put(const TrackLine& new_line) {
    line = new_line;
    auto made = TimeMap::line(line.start_s, line.drift_ppm(), length_s, 0.0);
    placed = static_cast<bool>(made);
    if (made)
      map = *made;
    else
      map.reset();
  }
};

class Aligner {
 public:
  Aligner(const MixInput& mix, const std::vector<TrackInput>& tracks, const AlignOptions& options)
      : mix_(mix), tracks_(tracks), options_(options), states_(tracks.size()) {}

  Result<Alignment> run() {
    if (auto done = find_first_maps(); !done) return done.error();
    if (auto done = pass(kPairwise, 0.15, 0.30); !done) return done.error();
    const auto& passes = options_.joint ? kJoint : kAlone;
    double from = 0.30;
    for (std::size_t i = 0; i < passes.size(); ++i) {
      const double to = from + 0.70 / static_cast<double>(passes.size());
      if (auto done = pass(passes[i], from, to); !done) return done.error();
      if (i == 1) keep_clear_windows();
      from = to;
      drop_unsupported();
      find_recorders();
      fit_recorders(passes[i]);
    }
    auto placed = placings();
    if (!placed) return placed.error();
    Alignment alignment;
    alignment.tracks = *std::move(placed);
    alignment.mix_spans = {{0.0, mix_.length_s, 0.0, mix_.length_s, 0.0}};
    report(1.0, "done");
    return alignment;
  }

 private:
  bool stopped() const { return options_.stop != nullptr && options_.stop->load(); }
  static Error interrupted() { return {ErrorKind::interrupted, {}, "interrupted", ""}; }
  void report(double done, const char* stage) const {
    if (options_.progress) options_.progress(done, stage);
  }

  Result<void> find_first_maps() {
    report(0.0, "listening");
    const int count = static_cast<int>(tracks_.size());
    OnsetFeatures mix_features;
    features_.resize(tracks_.size());
    std::vector<std::optional<Error>> errors(tracks_.size() + 1);
    parallel_for(count + 1, options_.threads, [&](int i) {
      if (stopped()) return;
      const auto at = static_cast<std::size_t>(i);
      auto made = onset_features(i == count ? *mix_.signal : *tracks_[at].signal, options_.stop);
      if (!made)
        errors[at] = made.error();
      else
        (i == count ? mix_features : features_[at]) = *std::move(made);
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
      state.first = first_map(mix_features, features_[at], options_.stop);
      if (state.first.found)
        state.put({state.first.lag_s, 1.0 / (1.0 + state.first.drift_ppm * 1e-6)});
    });
    if (stopped()) return interrupted();
    return {};
  }

  /// Measures every window of the mix and moves every placed track onto the line of its windows.
  Result<void> pass(const Pass& pass, double done_from, double done_to) {
    std::vector<std::size_t> placed;
    for (std::size_t k = 0; k < states_.size(); ++k) {
      states_[k].observations.clear();
      states_[k].readings.clear();
      if (states_[k].placed) placed.push_back(k);
    }
    if (placed.empty()) return {};
    std::vector<MappedTrack> mapped;
    for (const std::size_t k : placed) mapped.push_back({tracks_[k].signal, &*states_[k].map});

    const double window_s = window_length_s(pass, placed.size());
    // The last window ends with the mix; it may overlap the one before.
    const int windows = std::max(1, static_cast<int>(std::ceil(mix_.length_s / window_s - 1e-6)));
    const auto window_from_s = [&](int w) {
      return std::max(0.0, std::min(w * window_s, mix_.length_s - window_s));
    };
    std::vector<std::vector<Reading>> readings(static_cast<std::size_t>(windows));
    std::vector<std::optional<Error>> errors(static_cast<std::size_t>(windows));
    const int workers = std::clamp(options_.threads, 1, windows);
    const auto caller = std::this_thread::get_id();
    parallel_for(workers, workers, [&](int worker) {
      WindowMeter meter({.search_s = pass.search_s, .joint = pass.joint});
      for (int w = worker; w < windows && !stopped(); w += workers) {
        auto measured = meter.measure(*mix_.signal, mapped, window_from_s(w), window_s);
        const auto at = static_cast<std::size_t>(w);
        if (measured)
          readings[at] = *std::move(measured);
        else
          errors[at] = measured.error();
        if (std::this_thread::get_id() == caller)
          report(done_from + (done_to - done_from) * w / windows, pass.stage);
      }
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return interrupted();

    for (int w = 0; w < windows; ++w)
      for (std::size_t i = 0; i < placed.size(); ++i) {
        const Reading& reading = readings[static_cast<std::size_t>(w)][i];
        if (!reading.heard) continue;
        TrackState& state = states_[placed[i]];
        state.observations.push_back(
            {window_from_s(w) + 0.5 * window_s, reading.offset_s, trusted_sigma_s(reading)});
        state.readings.push_back(reading);
      }
    for (const std::size_t k : placed) {
      TrackState& state = states_[k];
      state.fit = fit_line(state.observations, fit_options(pass));
      if (state.fit.found) state.put(state.line.corrected(state.fit));
    }
    return {};
  }

  /// A short session is cut into more windows, so that there are enough to agree; many tracks need
  /// longer ones, so that there are more frames than tracks.
  double window_length_s(const Pass& pass, std::size_t tracks) const {
    const double shortest_s =
        std::max(kShortestWindow_s, kSecondsPerTrack * (static_cast<double>(tracks) + 12.0));
    return std::max(shortest_s, std::min(pass.window_s, mix_.length_s / kWindowsWanted));
  }

  static LineFitOptions fit_options(const Pass& pass) {
    return {.max_slope = pass.max_slope, .cluster_s = pass.cluster_s, .sigma_floor_s = 2e-6};
  }

  void keep_clear_windows() {
    for (TrackState& state : states_)
      for (std::size_t i = 0; i < state.readings.size(); ++i) {
        const Reading& reading = state.readings[i];
        if (reading.coherence < kClearCoherence || reading.rival > kClearRival) continue;
        const double at_s = state.observations[i].line_s;
        // The window was measured against the map that the fit has since corrected.
        const double line_s = at_s + state.fit.at(at_s);
        const double track_s = (line_s - state.line.start_s) / state.line.rate;
        state.clear.push_back({track_s, at_s + reading.offset_s});
      }
  }

  /// A track whose windows agree on nothing was placed by chance: it must not explain the others'
  /// mix.
  void drop_unsupported() {
    for (TrackState& state : states_)
      if (state.placed && (!state.fit.found || state.fit.used_share < 0.2 ||
                           state.evidence_sigma() < kLeastEvidence))
        state.placed = false;
  }

  /// Tracks that start together and run alike come from one recorder.
  void find_recorders() {
    for (TrackState& state : states_) state.recorder = -1;
    int recorders = 0;
    for (std::size_t i = 0; i < states_.size(); ++i) {
      TrackState& state = states_[i];
      if (!state.placed) continue;
      for (std::size_t j = 0; j < i && state.recorder < 0; ++j)
        if (states_[j].placed && same_recorder(state, states_[j]))
          state.recorder = states_[j].recorder;
      if (state.recorder < 0) state.recorder = recorders++;
    }
    // From the best known down, so that a chain of siblings ends with the best.
    std::vector<std::size_t> order(states_.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
      return support(states_[a].fit) > support(states_[b].fit);
    });
    for (const std::size_t i : order)
      if (const auto sibling = better_known_sibling(i))
        states_[i].recorder = states_[*sibling].recorder;
    number_recorders();
  }

  /// From 0 without gaps, in the order of the tracks.
  void number_recorders() {
    std::vector<int> seen;
    for (TrackState& state : states_) {
      if (!state.placed) continue;
      const auto known = std::find(seen.begin(), seen.end(), state.recorder);
      const auto number = static_cast<int>(known - seen.begin());
      if (known == seen.end()) seen.push_back(state.recorder);
      state.recorder = number;
    }
  }

  /// A microphone whose windows follow its neighbours' voices lies a few milliseconds from the
  /// other tracks of its recorder. Files of one length to the frame that start about together are
  /// one recorder's: where the track's own windows allow the common line too, the sibling that
  /// knows its place better decides.
  std::optional<std::size_t> better_known_sibling(std::size_t i) const {
    const TrackState& state = states_[i];
    if (!state.placed) return std::nullopt;
    std::optional<std::size_t> best;
    for (std::size_t j = 0; j < states_.size(); ++j) {
      const TrackState& other = states_[j];
      if (!other.placed || other.recorder == state.recorder) continue;
      if (std::abs(other.length_s - state.length_s) > kSameLength_s ||
          std::abs(other.line.start_s - state.line.start_s) > kSiblingReach_s)
        continue;
      if (support(other.fit) <= 2.0 * support(state.fit)) continue;
      if (!best || support(other.fit) > support(states_[*best].fit)) best = j;
    }
    if (!best) return std::nullopt;
    int on_line = 0;
    for (std::size_t k = 0; k < state.observations.size(); ++k) {
      const Observation o = referred(state, k, states_[*best].line);
      if (std::abs(o.offset_s) < kSameStart_s + 3.0 * o.sigma_s) ++on_line;
    }
    return on_line >= std::min(2, state.fit.used) ? best : std::nullopt;
  }

  static double support(const LineFit& fit) { return fit.used * fit.used_share; }

  /// Observation `k` of a track as an offset from another line: it was measured against the map
  /// that the track had before its own fit moved it.
  static Observation referred(const TrackState& state, std::size_t k, const TrackLine& line) {
    Observation o = state.observations[k];
    const double track_s = (o.line_s - state.line.start_s) / state.line.rate;
    o.offset_s += state.line.start_s + state.line.rate * track_s - state.fit.at(o.line_s) -
                  (line.start_s + line.rate * track_s);
    return o;
  }

  static bool same_recorder(const TrackState& a, const TrackState& b) {
    const double start_sigma_s =
        std::hypot(a.fit.sigma_at(a.line.start_s), b.fit.sigma_at(b.line.start_s));
    const double drift_sigma_ppm = 1e6 * std::hypot(a.fit.slope_sigma, b.fit.slope_sigma);
    const double start_s = std::abs(a.line.start_s - b.line.start_s);
    const double drift_ppm = std::abs(a.line.drift_ppm() - b.line.drift_ppm());
    return start_s < std::min(kSameStart_s + 4.0 * start_sigma_s, 2e-3) &&
           drift_ppm < kSameDrift_ppm + 4.0 * drift_sigma_ppm;
  }

  const TrackState& best_known(const std::vector<std::size_t>& members) const {
    return states_[*std::max_element(members.begin(), members.end(),
                                     [&](std::size_t a, std::size_t b) {
                                       return support(states_[a].fit) < support(states_[b].fit);
                                     })];
  }

  /// What of a member's own evidence stands on the common line.
  static void count_support(TrackState& state) {
    state.fit.used = 0;
    double on_line = 0.0;
    double all = 0.0;
    for (std::size_t i = 0; i < state.observations.size(); ++i) {
      const double say = 1.0 / (kSameStart_s * kSameStart_s +
                                state.observations[i].sigma_s * state.observations[i].sigma_s);
      all += say;
      if (state.fit.weights[i] <= 0.1) continue;
      ++state.fit.used;
      on_line += say;
    }
    state.fit.used_share = all > 0.0 ? on_line / all : 0.0;
  }

  /// One clock: one line through the windows of all its tracks.
  void fit_recorders(const Pass& pass) {
    for (int recorder = 0;; ++recorder) {
      std::vector<std::size_t> members;
      for (std::size_t k = 0; k < states_.size(); ++k)
        if (states_[k].recorder == recorder) members.push_back(k);
      if (members.empty()) return;
      if (members.size() == 1) continue;
      const TrackLine common = best_known(members).line;
      std::vector<Observation> all;
      for (const std::size_t k : members)
        for (std::size_t i = 0; i < states_[k].observations.size(); ++i)
          all.push_back(referred(states_[k], i, common));
      const LineFit fit = fit_line(all, fit_options(pass));
      if (!fit.found) continue;
      const TrackLine corrected = common.corrected(fit);
      std::size_t at = 0;
      for (const std::size_t k : members) {
        TrackState& state = states_[k];
        const std::size_t count = state.observations.size();
        state.fit = fit;
        state.fit.weights.assign(fit.weights.begin() + static_cast<std::ptrdiff_t>(at),
                                 fit.weights.begin() + static_cast<std::ptrdiff_t>(at + count));
        count_support(state);
        at += count;
        state.put(corrected);
      }
    }
  }

  /// How much of what sets in on one track sets in on another at the same time: the correlation of
  /// their onset features at the place where both now lie. Bleed shows, two people who take turns
  /// do not.
  double onsets_in_common(std::size_t a, std::size_t b) const {
    const std::int64_t frames = features_[a].frames();
    const std::int64_t stride = std::max<std::int64_t>(1, frames / kMinute / kMinutesCompared);
    double together = 0.0, of_a = 0.0, of_b = 0.0;
    for (std::int64_t t = 0; t < frames; ++t) {
      if (t / kMinute % stride != 0) {
        t += kMinute - 1;
        continue;
      }
      const double track_s = static_cast<double>(t) / kFeatureRateHz;
      const auto line_s = states_[a].map->to_line(track_s);
      const auto other_s = line_s ? states_[b].map->to_track(*line_s) : std::nullopt;
      if (!other_s) continue;
      const auto other = static_cast<std::int64_t>(std::llround(*other_s * kFeatureRateHz));
      if (other >= features_[b].frames()) continue;
      for (std::size_t band = 0; band < kFeatureBands; ++band) {
        const double x = features_[a].bands[band][static_cast<std::size_t>(t)];
        const double y = features_[b].bands[band][static_cast<std::size_t>(other)];
        together += x * y;
        of_a += x * x;
        of_b += y * y;
      }
    }
    return of_a > 0.0 && of_b > 0.0 ? together / std::sqrt(of_a * of_b) : 0.0;
  }

  /// Nobody else's microphone hears it: a guest, recorded where they sit. A track alone with the
  /// mix could be either.
  bool is_remote(std::size_t k) const {
    bool compared = false;
    for (std::size_t other = 0; other < states_.size(); ++other) {
      if (other == k || !states_[other].placed) continue;
      if (states_[other].recorder == states_[k].recorder ||
          onsets_in_common(k, other) > kNeighbours)
        return false;
      compared = true;
    }
    return compared;
  }

  Result<std::vector<TrackPlacing>> placings() const {
    std::vector<TrackPlacing> result(states_.size());
    parallel_for(static_cast<int>(states_.size()), options_.threads, [&](int k) {
      if (!stopped()) result[static_cast<std::size_t>(k)] = placing(static_cast<std::size_t>(k));
    });
    if (stopped()) return interrupted();
    return result;
  }

  TrackPlacing placing(std::size_t k) const {
    const TrackState& state = states_[k];
    TrackPlacing result;
    result.match_sigma = state.first.match_sigma;
    result.windows_measured = static_cast<int>(state.observations.size());
    if (!state.placed) return result;
    result.recorder = state.recorder;
    result.remote = is_remote(k);
    result.windows_used = state.fit.used;
    result.evidence_sigma = state.evidence_sigma();
    result.uncertainty_us = uncertainty_us(k);
    double polarity = 0.0;
    for (std::size_t i = 0; i < state.readings.size(); ++i) {
      const Observation& o = state.observations[i];
      const double w = state.fit.weights[i];
      polarity += w * (state.readings[i].inverted ? -1.0 : 1.0);
      result.windows.push_back(
          {o.line_s, 1e6 * (o.offset_s - state.fit.at(o.line_s)), 1e6 * o.sigma_s, w});
    }
    result.inverted = polarity < 0.0;
    result.map = state.map;
    if (auto map = TimeMap::line(state.line.start_s, state.line.drift_ppm(), state.length_s,
                                 result.uncertainty_us))
      result.map = *std::move(map);
    const std::string doubt = reason_to_doubt(k, result);
    result.standing = doubt.empty() ? Standing::firm : Standing::shaky;
    if (!doubt.empty()) {
      Finding finding;
      finding.code = "thin-evidence";
      finding.text = doubt +
                     " Listen to it against the mix before you use it, and ask for a longer "
                     "or clearer recording where there is one.";
      result.findings.push_back(std::move(finding));
    }
    return result;
  }

  /// 95 % bound, worst over the track: what the fit leaves open at its two ends, widened where few
  /// windows vouch for it, and what no number of windows averages away.
  double uncertainty_us(std::size_t k) const {
    const TrackState& state = states_[k];
    const double end_s = state.line.start_s + state.line.rate * state.length_s;
    const double sigma_s =
        std::max(state.fit.sigma_at(state.line.start_s), state.fit.sigma_at(end_s));
    const double few = 1.0 + 4.0 / std::max(1.0, static_cast<double>(state.fit.used) - 1.0);
    std::vector<double> dispersions_us;
    for (std::size_t i = 0; i < state.readings.size(); ++i)
      if (state.fit.weights[i] > 0.1)
        dispersions_us.push_back(1e6 * state.readings[i].dispersion_s);
    double floor_us = kFloor_us;
    if (mix_.lossy) floor_us += kLossyFloor_us;
    if (tracks_[k].lossy) floor_us += kLossyFloor_us;
    floor_us = std::hypot(floor_us, kDispersionShare * std::abs(median(dispersions_us)));
    return std::hypot(2.0 * few * sigma_s * 1e6, floor_us);
  }

  /// Why the evidence does not rule every other placing out; empty where it does.
  std::string reason_to_doubt(std::size_t k, const TrackPlacing& placing) const {
    const LineFit& fit = states_[k].fit;
    if (const auto at_s = first_contradiction_s(k))
      return "A part of it, about " + clock_text(*at_s) +
             " of the track, fits the mix at another place than the rest: it, or the mix, may have "
             "lost or repeated a stretch there.";
    if (const auto other = unlike_sibling(k))
      return "It begins with \"" + tracks_[*other].name +
             "\" and is as long to the frame, as tracks of one recorder are, yet its windows put "
             "it "
             "elsewhere: they may follow a neighbour's voice.";
    if (placing.windows_used < kLeastWindows)
      return "It is heard clearly in only " + std::to_string(placing.windows_used) +
             (placing.windows_used == 1 ? " stretch" : " stretches") + " of the mix.";
    if (clear_windows_on_line(k) < kLeastClear)
      return "Nowhere is it heard clearly apart from the other tracks.";
    if (fit.used_share < kLeastShare)
      return "Most of what is heard of it does not agree on one straight line: it may have a hole, "
             "or another clock.";
    if (placing.uncertainty_us > kFirmUncertainty_us)
      return "What is heard of it stands too close together to say how its clock runs over the "
             "whole track.";
    return {};
  }

  double off_line_s(std::size_t k, double track_s, double line_s) const {
    const TrackLine& line = states_[k].line;
    return line_s - (line.start_s + line.rate * track_s);
  }

  /// Windows of the track, or of a sibling on the same line, that are clear and stand on it.
  int clear_windows_on_line(std::size_t k) const {
    int count = 0;
    for (const ClearWindow& window : states_[k].clear)
      if (std::abs(off_line_s(k, window.track_s, window.line_s)) < kStep_s) ++count;
    return count;
  }

  /// Track second of the first evidence that a part of the track lies elsewhere: clear windows off
  /// the line, or chunks that the first map heard far from it.
  std::optional<double> first_contradiction_s(std::size_t k) const {
    const TrackState& state = states_[k];
    std::vector<double> off;
    for (const ClearWindow& window : state.clear)
      if (std::abs(off_line_s(k, window.track_s, window.line_s)) > kStep_s)
        off.push_back(window.track_s);
    if (std::ssize(off) >= 2 &&
        static_cast<double>(off.size()) > kStrayShare * static_cast<double>(state.clear.size()))
      return *std::min_element(off.begin(), off.end());
    double strongest_on = 0.0;
    for (const Vote& vote : state.first.votes)
      if (std::abs(off_line_s(k, vote.track_s, vote.track_s + vote.lag_s)) < kFarOff_s)
        strongest_on = std::max(strongest_on, vote.sigma);
    std::optional<double> first_s;
    for (const Vote& vote : state.first.votes)
      if (std::abs(off_line_s(k, vote.track_s, vote.track_s + vote.lag_s)) > kFarOff_s &&
          vote.sigma > std::max(kStrongVote, kStrayVoteShare * strongest_on) &&
          (!first_s || vote.track_s < *first_s))
        first_s = vote.track_s;
    return first_s;
  }

  /// A track of the same length that begins together with this one on another line, where no
  /// majority of such tracks stands on this one's.
  std::optional<std::size_t> unlike_sibling(std::size_t k) const {
    const TrackState& state = states_[k];
    int alike = 0;
    int unlike = 0;
    std::optional<std::size_t> first;
    for (std::size_t j = 0; j < states_.size(); ++j) {
      const TrackState& other = states_[j];
      if (!other.placed || std::abs(other.length_s - state.length_s) > kSameLength_s ||
          std::abs(other.line.start_s - state.line.start_s) > kSiblingReach_s)
        continue;
      if (other.recorder == state.recorder) {
        ++alike;
        continue;
      }
      ++unlike;
      if (!first) first = j;
    }
    return unlike >= alike ? first : std::nullopt;
  }

  const MixInput& mix_;
  const std::vector<TrackInput>& tracks_;
  const AlignOptions& options_;
  std::vector<TrackState> states_;
  std::vector<OnsetFeatures> features_;
};

}  // namespace

Result<Alignment> align(const MixInput& mix, const std::vector<TrackInput>& tracks,
                        const AlignOptions& options) {
  return Aligner(mix, tracks, options).run();
}

}  // namespace kilter::sync

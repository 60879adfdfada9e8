#include "window_pass.h"

#include <algorithm>
#include <cmath>
#include <thread>

#include "track_fit.h"

namespace kilter::sync {
namespace {

// Where the final pass leaves no window out: a stretch of a track, or what it says, so short that
// its windows are needed.
constexpr double kShortStretch_s = 600.0;
constexpr std::size_t kFewClear = 40;

constexpr double kWindowsWanted = 12.0;
constexpr double kShortestWindow_s = 2.5;
constexpr double kSecondsPerTrack = 0.14;  // a frame every 0.128 s
constexpr double kOneStep_s = 0.5e-3;      // more than what the coarse maps are off by changes over
                                           // a minute
constexpr double kRestless_s = 1.0e-3;
constexpr double kAtItsEdge_s = 1.0e-3;  // pieces meet half-way between windows: where one ends

/// The tracks of one pass, and what measures them.
struct Measuring {
  std::vector<std::size_t> placed;  // in the order of their readings
  std::vector<MappedTrack> together;
  std::vector<MappedTrack> apart;
  double search_s{0.0};
  double window_s{0.0};
};

/// A short session is cut into more windows, so that there are enough to agree; many tracks need
/// longer ones, so that there are more frames than tracks.
double window_length_s(const Pass& pass, std::size_t tracks, double mix_length_s) {
  const double shortest_s =
      std::max(kShortestWindow_s, kSecondsPerTrack * (static_cast<double>(tracks) + 12.0));
  return std::max(shortest_s, std::min(pass.window_s, mix_length_s / kWindowsWanted));
}

/// Adds the windows of short stretches, and of tracks that say little.
void choose_needed(const Aligning& session, double window_s, std::vector<bool>& chosen) {
  const auto choose = [&](double from_s, double to_s) {
    const auto last = static_cast<double>(chosen.size() - 1);
    const auto from = static_cast<std::size_t>(std::clamp(from_s / window_s, 0.0, last));
    const auto to = static_cast<std::size_t>(std::clamp(to_s / window_s, 0.0, last));
    for (std::size_t w = from; w <= to; ++w) chosen[w] = true;
  };
  for (const Span& span : session.mix_spans)
    if (span.to_s - span.from_s < kShortStretch_s) choose(span.from_s, span.to_s);
  for (const TrackState& state : session.states) {
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

/// Which of the windows that fill the mix one after the other a pass measures.
std::vector<bool> choose_windows(const Aligning& session, const Pass& pass, double window_s) {
  const auto all =
      static_cast<std::size_t>(std::max(1.0, std::ceil(session.mix.length_s / window_s - 1e-6)));
  const auto spread =
      std::min(all, static_cast<std::size_t>(std::clamp(session.mix.length_s / pass.every_s,
                                                        static_cast<double>(pass.fewest_windows),
                                                        static_cast<double>(pass.most_windows))));
  std::vector<bool> chosen(all, false);
  for (std::size_t w = 0; w < spread; ++w) chosen[(2 * w + 1) * all / (2 * spread)] = true;
  if (pass.spares_short) choose_needed(session, window_s, chosen);
  return chosen;
}

/// Mix seconds at which chosen windows begin.
std::vector<double> starts_of(const std::vector<bool>& chosen, double window_s,
                              double mix_length_s) {
  std::vector<double> starts_s;
  for (std::size_t w = 0; w < chosen.size(); ++w)
    if (chosen[w])  // the last one ends with the mix; it may overlap the one before
      starts_s.push_back(
          std::max(0.0, std::min(static_cast<double>(w) * window_s, mix_length_s - window_s)));
  return starts_s;
}

/// Of the windows that are not chosen, those between two clear ones of a track that do not agree
/// on where it lies.
std::vector<bool> windows_between_steps(const std::vector<TrackState>& states,
                                        const std::vector<bool>& chosen, const Measuring& with) {
  std::vector<bool> between(chosen.size(), false);
  for (const std::size_t k : with.placed) {
    const Measured* before = nullptr;
    for (const Measured& m : states[k].measured) {
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

bool reaches_over(const TrackState& state, int piece, double from_s, double to_s,
                  const std::vector<Span>& mix_spans) {
  for (const Span& mix : mix_spans)
    if (mix.from_s > from_s && mix.from_s < to_s) return true;
  // Not by where the map puts the piece's ends: what overlaps another piece is cut off it.
  const auto at = static_cast<std::size_t>(piece);
  const Piece& own = state.pieces[at];
  if (at > 0 && state.map->to_track(from_s + kAtItsEdge_s).value_or(-1.0) < own.from_s) return true;
  return at + 1 < state.pieces.size() &&
         state.map->to_track(to_s - kAtItsEdge_s).value_or(1e300) > own.to_s;
}

/// A window that reaches over an end of its piece is left out: its sound may be the neighbour's.
void add_measured(const Reading& reading, double from_s, double window_s,
                  const std::vector<Span>& mix_spans, TrackState& state) {
  const double at_s = from_s + 0.5 * window_s;
  const auto track_s = state.map->to_track(at_s);
  if (!track_s) return;
  int piece = -1;
  for (std::size_t p = 0; p < state.pieces.size(); ++p)
    if (*track_s >= state.pieces[p].from_s && *track_s <= state.pieces[p].to_s)
      piece = static_cast<int>(p);
  if (piece < 0 || reaches_over(state, piece, from_s, from_s + window_s, mix_spans)) return;
  state.measured.push_back(
      {at_s, *track_s, at_s + reading.offset_s, trusted_sigma_s(reading), piece, reading});
}

Result<void> measure(const Measuring& with, const std::vector<double>& starts_s, const char* stage,
                     double done_from, double done_to, Aligning& session) {
  const int windows = static_cast<int>(starts_s.size());
  if (windows == 0) return {};
  std::vector<std::vector<Reading>> readings(starts_s.size());
  std::vector<std::optional<Error>> errors(starts_s.size());
  struct Meters {
    WindowMeter joint;
    WindowMeter apart;
  };
  const auto make_meters = [&] {
    return Meters{WindowMeter({.search_s = with.search_s, .joint = true}),
                  WindowMeter({.search_s = with.search_s, .joint = false})};
  };
  const auto caller = std::this_thread::get_id();
  parallel_with(windows, session.options.threads, make_meters, [&](int w, Meters& meters) {
    if (session.stopped()) return;
    const auto at = static_cast<std::size_t>(w);
    for (const auto* part : {&with.together, &with.apart}) {
      if (part->empty()) continue;
      WindowMeter& by = part == &with.together ? meters.joint : meters.apart;
      auto measured = by.measure(*session.mix.signal, *part, starts_s[at], with.window_s);
      if (measured)
        readings[at].insert(readings[at].end(), measured->begin(), measured->end());
      else
        errors[at] = measured.error();
    }
    if (std::this_thread::get_id() == caller)
      session.report(done_from + (done_to - done_from) * w / windows, stage);
  });
  for (const auto& error : errors)
    if (error) return *error;
  if (session.stopped()) return interrupted();

  for (std::size_t w = 0; w < starts_s.size(); ++w)
    for (std::size_t i = 0; i < with.placed.size(); ++i) {
      const Reading& reading = readings[w][i];
      if (reading.heard)
        add_measured(reading, starts_s[w], with.window_s, session.mix_spans,
                     session.states[with.placed[i]]);
    }
  return {};
}

}  // namespace

Result<void> measure(const Pass& pass, bool joint, double done_from, double done_to,
                     Aligning& session) {
  std::vector<std::size_t> apart;
  Measuring with;
  with.search_s = pass.search_s;
  for (std::size_t k = 0; k < session.states.size(); ++k) {
    session.states[k].measured.clear();
    session.states[k].weights.clear();
    if (!session.states[k].placed) continue;
    const bool joins = joint && !session.states[k].apart;
    (joins ? with.placed : apart).push_back(k);
    (joins ? with.together : with.apart).push_back(session.mapped(k));
    with.search_s = std::max(with.search_s, session.states[k].splice_s);
  }
  with.placed.insert(with.placed.end(), apart.begin(), apart.end());
  if (with.placed.empty()) return {};
  with.window_s = window_length_s(pass, with.placed.size(), session.mix.length_s);
  const double middle = pass.fills_in ? done_from + 0.8 * (done_to - done_from) : done_to;
  std::vector<bool> chosen = choose_windows(session, pass, with.window_s);
  if (auto done = measure(with, starts_of(chosen, with.window_s, session.mix.length_s), pass.stage,
                          done_from, middle, session);
      !done)
    return done;
  if (!pass.fills_in) return {};
  session.passed_over_s.clear();
  const std::vector<bool> more = windows_between_steps(session.states, chosen, with);
  if (auto done = measure(with, starts_of(more, with.window_s, session.mix.length_s), pass.stage,
                          middle, done_to, session);
      !done)
    return done;
  for (std::size_t w = 0; w < chosen.size(); ++w)
    if (!chosen[w] && !more[w])
      session.passed_over_s.push_back((static_cast<double>(w) + 0.5) * with.window_s);
  for (const std::size_t k : with.placed)
    std::stable_sort(session.states[k].measured.begin(), session.states[k].measured.end(),
                     [](const Measured& a, const Measured& b) { return a.at_s < b.at_s; });
  return {};
}

void keep_clear_windows(std::vector<TrackState>& states) {
  for (TrackState& state : states)
    for (const Measured& m : state.measured) {
      if (is_clear(m.reading)) state.clear.push_back({m.track_s, m.mix_s});
      const auto mapped_s = state.map ? state.map->to_line(m.track_s) : std::nullopt;
      if (!is_clear(m.reading) || !mapped_s || std::abs(m.mix_s - *mapped_s) > kRestless_s)
        state.restless.push_back(m.at_s);
    }
}

}  // namespace kilter::sync

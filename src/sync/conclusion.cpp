#include "conclusion.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "finding_texts.h"
#include "judgement.h"
#include "kilter/base/clock_text.h"
#include "kilter/sync/excursions.h"
#include "kilter/sync/strays.h"
#include "kilter/sync/unexplained.h"
#include "mix_repeats.h"
#include "mix_timeline.h"
#include "neighbours.h"
#include "polarity.h"
#include "recorder_fit.h"
#include "track_fit.h"
#include "window_pass.h"

namespace kilter::sync {
namespace {

constexpr double kSameShift_s = 0.02;   // of what the mix holds twice
constexpr std::size_t kMostShifts = 8;  // that each track is tried at
constexpr double kCopyUncertainty_us = 10.0;
constexpr double kWordReach_s = 0.5;
constexpr double kUnrecorded_s = 10.0;  // of talk; less may be how people pressed their buttons
// A copy is placed by a delay of its own, 1 us off for the same samples and up to 25 through a
// codec.
constexpr double kExact_db = -35.0;
constexpr double kExactCopy_us = 5.0;
constexpr double kLossyCopy_us = 30.0;
constexpr double kMostMissing_s = 0.75;  // of a copy's talk, to chance and a codec

/// The map of a copy that holds a moment `later_s` later than the original, cut to its length.
std::optional<TimeMap> moved(const TimeMap& map, double later_s, double length_s) {
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

void widen(double by_us, TrackPlacing& placing) {
  std::vector<Span> spans(placing.map->spans().begin(), placing.map->spans().end());
  for (Span& span : spans) span.uncertainty_us += by_us;
  if (auto map = TimeMap::make(std::move(spans))) placing.map = *std::move(map);
  placing.uncertainty_us += by_us;
}

void make_shaky(const Doubt& doubt, TrackPlacing& placing) {
  widen(doubt.widens_us(), placing);
  placing.standing = Standing::shaky;
  placing.findings.push_back(thin_evidence(doubt.reason));
}

/// Whether a copy holds throughout what its original does: a part of it may be missing, or stand
/// elsewhere.
Result<bool> is_copy_throughout(const Aligning& session, std::size_t k) {
  const CopyVerdict& copy = session.copies[k];
  const auto map = TimeMap::line(-copy.delay_s, 0.0, session.states[k].length_s, 0.0);
  if (!map) return true;
  const auto found = find_strays(*session.tracks[copy.of].signal, {session.tracks[k].signal, &*map},
                                 {.stop = session.options.stop});
  if (!found) return found.error();
  return found->is_all && loud_s(found->missing) < kMostMissing_s;
}

Result<void> place_copies(const Aligning& session, Alignment& alignment) {
  for (std::size_t k = 0; k < session.states.size(); ++k) {
    const CopyVerdict& copy = session.copies[k];
    TrackPlacing& placing = alignment.tracks[k];
    if (copy.kind == CopyKind::of_track) {
      const TrackPlacing& original = alignment.tracks[copy.of];
      placing = original;
      placing.windows.clear();
      placing.windows_measured = placing.windows_used = 0;
      placing.findings = {duplicate_finding(session.tracks[copy.of].name, copy)};
      if (session.copies[copy.of].kind == CopyKind::own_mix)  // the other side of a mixer's stereo
        placing.findings.push_back(mix_copy_finding(session.copies[copy.of]));
      placing.inverted = original.inverted != copy.inverted;
      if (original.map)
        placing.map = moved(*original.map, copy.delay_s, session.states[k].length_s);
      if (!placing.map) {
        placing.standing = Standing::unplaced;
        continue;
      }
      widen(copy.depth_db > kExact_db ? kLossyCopy_us : kExactCopy_us, placing);
      const auto throughout = is_copy_throughout(session, k);
      if (!throughout) return throughout.error();
      if (!*throughout && placing.standing == Standing::firm)
        make_shaky({"It is \"" + session.tracks[copy.of].name +
                        "\" once more, but not throughout: it may have lost or repeated a "
                        "stretch.",
                    kFarthest_s},
                   placing);
    } else if (copy.kind == CopyKind::of_mix) {
      placing = {};
      placing.inverted = copy.inverted;
      placing.uncertainty_us = kCopyUncertainty_us;
      auto spans = session.mix_spans;
      for (Span& span : spans) {
        span.from_s += copy.delay_s;
        span.to_s += copy.delay_s;
        span.uncertainty_us = kCopyUncertainty_us;
      }
      if (auto map = TimeMap::make(std::move(spans))) {
        placing.map = moved(*map, 0.0, session.states[k].length_s);
        placing.standing = placing.map ? Standing::firm : Standing::unplaced;
      }
      placing.findings = {mix_copy_finding(copy)};
      // It follows the mix's own steps, so it knows no more of them than the tracks do.
      const auto doubt = doubt_of_mix(session.seams);
      if (placing.map && doubt) make_shaky(*doubt, placing);
    } else if (copy.kind == CopyKind::own_mix) {
      placing.is_mix_again = copy.whole;
      placing.findings.insert(placing.findings.begin(), mix_copy_finding(copy));
    }
  }
  return {};
}

TrackPlacing placing_of(const Aligning& session, std::size_t k, bool remote, bool inverted) {
  const TrackState& state = session.states[k];
  TrackPlacing result;
  result.match_sigma = state.first.match_sigma;
  result.windows_measured = static_cast<int>(state.measured.size());
  if (!state.placed) return result;
  const Evidence evidence{session.mix,       session.tracks, session.states,
                          session.mix_spans, session.seams,  session.leaks};
  result.recorder = state.recorder;
  result.remote = remote;
  result.windows_used = state.used;
  result.evidence_sigma = state.evidence_sigma();
  result.inverted = inverted;
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    const Measured& m = state.measured[i];
    const double line_s = on_timeline_s(m, session.mix_spans);
    const int level = level_at(state, m.track_s);
    if (level < 0) continue;
    result.windows.push_back({to_timeline(session.mix_spans, m.at_s),
                              1e6 * (line_s - state.curve.line_s(level, m.track_s)),
                              1e6 * m.sigma_s, state.weights[i]});
  }
  auto spans = spans_of(state, [&](int level, double track_s) {
    return uncertainty_us(evidence, k, level, track_s);
  });
  for (const Span& span : spans)
    result.uncertainty_us = std::max(result.uncertainty_us, span.uncertainty_us);
  auto map = TimeMap::make(std::move(spans));
  if (!map) return {};
  result.map = *std::move(map);
  result.standing = Standing::firm;
  if (const auto doubt = doubt_of(evidence, k, result.uncertainty_us)) make_shaky(*doubt, result);
  for (const Seam& seam : session.seams) {
    const bool own = std::find(seam.tracks.begin(), seam.tracks.end(), k) != seam.tracks.end();
    if (seam.cause == SeamCause::recorder ? seam.recorder == state.recorder
                                          : own && seam.cause != SeamCause::mix)
      result.findings.push_back(seam_finding(seam,
                                             cut_of(session.seams, seam, k, state.curve.rate).end_s,
                                             to_timeline(session.mix_spans, seam.place.mix_end_s)));
  }
  return result;
}

/// Where to look for excursions: windows that were not clear, and those that were left out though
/// something was held back there.
std::vector<double> restless_s(const Aligning& session, const TrackState& state) {
  std::vector<double> middles_s = state.restless;
  for (const double middle_s : session.passed_over_s)
    if (std::any_of(state.moved.begin(), state.moved.end(), [&](const Stray& stray) {
          return std::abs(stray.mix_s - middle_s) <= 0.5 * kFine.window_s + kWordReach_s;
        }))
      middles_s.push_back(middle_s);
  std::sort(middles_s.begin(), middles_s.end());
  return middles_s;
}

/// What was heard elsewhere amid a stretch that is in place, unless it is known already.
void add_moved(const Stray& stray, std::vector<MixExcursion>& excursions) {
  const auto after = std::find_if(
      excursions.begin(), excursions.end(),
      [&](const MixExcursion& known) { return known.to_s + kWordReach_s > stray.mix_s; });
  if (after != excursions.end() && after->from_s - kWordReach_s < stray.mix_s) return;
  excursions.insert(after, {stray.mix_s - kWordReach_s, stray.mix_s + kWordReach_s,
                            stray.mix_s - stray.mapped_s, true, true});
}

/// Whether the track is heard clearly on its line, somewhere between two seconds of the mix.
bool is_in_place(const TrackState& state, double from_s, double to_s) {
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    const double at_s = state.measured[i].at_s;
    if (state.weights[i] > 0.1 && is_clear(state.measured[i].reading) && at_s > from_s &&
        at_s < to_s)
      return true;
  }
  return false;
}

bool near_a_seam(const Aligning& session, std::size_t k, const MixExcursion& excursion) {
  return std::any_of(session.seams.begin(), session.seams.end(), [&](const Seam& seam) {
    const bool concerns =
        seam.cause == SeamCause::mix || seam.recorder == session.states[k].recorder;
    return concerns && excursion.from_s < seam.place.mix_from_s + 1.0 &&
           excursion.to_s > seam.place.mix_end_s - 1.0;
  });
}

Result<void> add_excursions(const Aligning& session, const std::vector<bool>& remote,
                            Alignment& alignment) {
  return for_tracks(session, [&](std::size_t k) -> Result<void> {
    const TrackState& state = session.states[k];
    if (!remote[k] || !state.placed || state.splice_s > 0.0) return {};
    auto found = find_excursions(*session.mix.signal, session.mapped(k), restless_s(session, state),
                                 0.5 * kFine.window_s + 0.5);
    if (!found) return found.error();
    std::vector<Stretch> stretches;
    double furthest_s = 0.0;
    for (const HeldBack& held : state.held)
      found->push_back({held.mix_from_s, held.mix_to_s, held.late_s, true, true});
    std::stable_sort(
        found->begin(), found->end(),
        [](const MixExcursion& a, const MixExcursion& b) { return a.from_s < b.from_s; });
    for (const Stray& stray : state.moved) add_moved(stray, *found);
    for (const MixExcursion& excursion : *found) {
      if (near_a_seam(session, k, excursion)) continue;
      const bool comes = excursion.in_place_before || is_in_place(state, -1e300, excursion.from_s);
      const bool goes = excursion.in_place_after || is_in_place(state, excursion.to_s, 1e300);
      if (!comes || !goes) {
        // Where it is heard no more, the file may as well have lost something.
        if (alignment.tracks[k].standing == Standing::firm)
          make_shaky(
              doubt_of_outermost(to_timeline(session.mix_spans, excursion.from_s),
                                 excursion.offset_s, goes ? Outermost::first : Outermost::last),
              alignment.tracks[k]);
        continue;
      }
      stretches.push_back({to_timeline(session.mix_spans, excursion.from_s),
                           to_timeline(session.mix_spans, excursion.to_s)});
      if (std::abs(excursion.offset_s) > std::abs(furthest_s)) furthest_s = excursion.offset_s;
    }
    if (!stretches.empty())
      alignment.tracks[k].findings.push_back(excursion_finding(std::move(stretches), furthest_s));
    return {};
  });
}

/// Where the mix has a stretch that was held back.
std::optional<TimeMap> held_back_map(const HeldBack& held, const TimeMap& map,
                                     const std::vector<Span>& mix_spans) {
  const double from_s = to_timeline(mix_spans, held.mix_from_s);
  const double to_s = to_timeline(mix_spans, held.mix_to_s);
  const auto track_from_s = map.to_track(from_s - held.late_s);
  const auto track_to_s = map.to_track(to_s - held.late_s);
  if (!track_from_s || !track_to_s || to_s <= from_s || *track_to_s <= *track_from_s)
    return std::nullopt;
  auto late = TimeMap::make({{*track_from_s, *track_to_s, from_s, to_s, 0.0}});
  return late ? std::optional(*std::move(late)) : std::nullopt;
}

/// Of those whose recordings begin within it: whoever has missed most of what nobody explains.
NotStarted not_started(const Aligning& session, const Alignment& alignment,
                       const std::vector<Stretch>& voice) {
  constexpr double kLeast_s = 0.5;
  constexpr double kAlike_s = 0.25;
  const auto missed_s = [&](std::size_t k) {
    if (!session.is_microphone(k) || !alignment.tracks[k].map) return 0.0;
    const double start_s = alignment.tracks[k].map->start_s();
    double sum_s = 0.0;
    for (const Stretch& each : voice)
      sum_s += std::max(0.0, std::min(each.line_to_s, start_s) - each.line_from_s);
    return sum_s;
  };
  NotStarted most;
  for (std::size_t k = 0; k < session.states.size(); ++k)
    most.seconds = std::max(most.seconds, missed_s(k));
  if (most.seconds < kLeast_s) return {};
  for (std::size_t k = 0; k < session.states.size(); ++k)
    if (missed_s(k) > most.seconds - kAlike_s) most.names.push_back(session.tracks[k].name);
  return most;
}

/// Of shifts that were found, each but once, those that were found most often.
std::vector<double> likely_shifts(std::vector<double> found_s) {
  std::sort(found_s.begin(), found_s.end());
  std::vector<std::pair<int, double>> counted;  // how often, negative, so that most come first
  for (std::size_t i = 0; i < found_s.size(); ++i) {
    if (i == 0 || found_s[i] - found_s[i - 1] > kSameShift_s) counted.emplace_back(0, found_s[i]);
    --counted.back().first;
  }
  std::sort(counted.begin(), counted.end());
  if (counted.size() > kMostShifts) counted.resize(kMostShifts);
  std::vector<double> likely_s;
  for (const auto& [count, shift_s] : counted) likely_s.push_back(shift_s);
  return likely_s;
}

/// Tracks that fit as well where the mix holds the same talk once more.
Result<void> doubt_repeated(const Aligning& session, const std::vector<double>& shifts_s,
                            Alignment& alignment) {
  return for_tracks(session, [&](std::size_t k) -> Result<void> {
    TrackPlacing& placing = alignment.tracks[k];
    if (!session.is_microphone(k) || placing.standing != Standing::firm) return {};
    const TrackState& state = session.states[k];
    std::vector<double> middles_s;
    for (std::size_t i = 0; i < std::min(state.measured.size(), state.weights.size()); ++i)
      if (state.weights[i] > 0.1) middles_s.push_back(state.measured[i].at_s);
    for (const double either_s : shifts_s)
      for (const double shift_s : {either_s, -either_s}) {
        if (session.stopped()) return {};  // which is told once all are through
        const auto again = are_held_again(*session.mix.signal, middles_s, shift_s);
        if (!again) return again.error();
        if (!*again) continue;
        make_shaky({"The mix holds all that places it twice: it fits as well " +
                        clock_text(std::abs(shift_s)) + (shift_s > 0.0 ? " later." : " earlier."),
                    std::abs(shift_s)},
                   placing);
        return {};
      }
    return {};
  });
}

Result<void> add_unexplained(const Aligning& session, Alignment& alignment) {
  std::vector<std::pair<std::size_t, TimeMap>> maps;  // with their tracks
  for (std::size_t k = 0; k < session.states.size(); ++k) {
    if (!session.is_microphone(k) || !alignment.tracks[k].map) continue;
    const TimeMap& map = *alignment.tracks[k].map;
    maps.emplace_back(k, map);
    for (const HeldBack& held : session.states[k].held)
      if (auto late = held_back_map(held, map, session.mix_spans))
        maps.emplace_back(k, *std::move(late));
  }
  std::vector<MappedTrack> heard;
  for (const auto& [k, map] : maps) heard.push_back({session.tracks[k].signal, &map});
  auto mix_map = TimeMap::make(session.mix_spans);
  if (heard.empty() || !mix_map) return {};
  auto found = find_unexplained({session.mix.signal, &*mix_map}, heard,
                                {.threads = session.options.threads, .stop = session.options.stop});
  if (!found) return found.error();
  const std::vector<Stretch> all_voice = found->voice;
  auto repeat = take_repeats(*session.mix.signal, session.mix_features, session.mix_spans,
                             session.options.stop, found->voice, found->unrecorded);
  if (!repeat) return repeat.error();
  std::vector<double> shifts_s = repeat->shifts_s;
  if (!repeat->stretches.empty()) {
    found->voice_s = total_s(found->voice);
    alignment.findings.push_back(mix_repeat_finding(*std::move(repeat)));
  }
  // A teaser in front of all recordings is recorded further on.
  if (const auto again = take_repeats(*session.mix.signal, session.mix_features, session.mix_spans,
                                      session.options.stop, found->unrecorded, all_voice);
      !again)
    return again.error();
  else
    shifts_s.insert(shifts_s.end(), again->shifts_s.begin(), again->shifts_s.end());
  if (auto done = doubt_repeated(session, likely_shifts(std::move(shifts_s)), alignment); !done)
    return done;
  if (!found->voice.empty())
    alignment.findings.push_back(
        missing_voice_finding(found->voice, not_started(session, alignment, found->voice)));
  if (!found->music.empty()) alignment.findings.push_back(mix_music_finding(found->music));
  if (total_s(found->unrecorded) >= kUnrecorded_s)
    alignment.findings.push_back(unrecorded_finding(found->unrecorded));
  alignment.unexplained = *std::move(found);
  return {};
}

/// Back from the time of the corrected rate to the file's.
void restore_file_time(const Aligning& session, std::size_t k, TrackPlacing& placing) {
  const double ratio = session.states[k].rate_ratio;
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
                          wrong_rate_finding(session.tracks[k].rate_hz, ratio));
}

}  // namespace

Result<Alignment> conclude(Aligning& session) {
  Alignment alignment;
  alignment.mix_spans = session.mix_spans;
  alignment.tracks.resize(session.states.size());
  const auto tracks_remote = remote_tracks(session);
  if (!tracks_remote) return tracks_remote.error();
  const std::vector<bool>& remote = *tracks_remote;
  if (auto done = hear_leaks(remote, session); !done) return done.error();
  const auto inverted = inverted_tracks(session);
  if (!inverted) return inverted.error();
  auto placed = for_tracks(session, [&](std::size_t k) -> Result<void> {
    alignment.tracks[k] = placing_of(session, k, remote[k], (*inverted)[k]);
    return {};
  });
  if (!placed) return placed.error();
  for (const Seam& seam : session.seams)
    if (seam.cause == SeamCause::mix)
      alignment.mix_findings.push_back(
          mix_seam_finding(seam, to_timeline(session.mix_spans, seam.place.mix_end_s)));
  if (auto done = place_copies(session, alignment); !done) return done.error();
  if (auto done = add_excursions(session, remote, alignment); !done) return done.error();
  for (const Leak& leak : session.leaks)
    alignment.tracks[leak.holder].findings.push_back(
        leak_finding(leak, session.tracks[leak.from].name));
  if (auto done = add_unexplained(session, alignment); !done) return done.error();
  for (std::size_t k = 0; k < session.states.size(); ++k)
    restore_file_time(session, k, alignment.tracks[k]);
  return alignment;
}

}  // namespace kilter::sync

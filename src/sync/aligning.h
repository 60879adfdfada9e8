// A session while it is being aligned: what all stages read, and what they hand on.
#pragma once

#include <memory>
#include <vector>

#include "feature_shelf.h"
#include "kilter/base/parallel.h"
#include "kilter/signal/onset_features.h"
#include "kilter/signal/rate_corrected_signal.h"
#include "kilter/signal/stoppable_signal.h"
#include "kilter/sync/align.h"
#include "kilter/sync/copies.h"
#include "kilter/sync/leaks.h"
#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

struct Aligning {
  /// Signals, `options` and its flag to stop by are kept by reference.
  Aligning(const MixInput& mix, const std::vector<TrackInput>& tracks, const AlignOptions& options);

  const AlignOptions& options;
  std::vector<std::unique_ptr<StoppableSignal>> stoppable;  // the mix, then the tracks
  MixInput mix;
  std::vector<TrackInput> tracks;  // with the signals that are heard, not as they were headed
  std::vector<std::unique_ptr<RateCorrectedSignal>> corrected;  // of wrong headers
  std::vector<TrackState> states;
  OnsetFeatures mix_features;
  FeatureShelf features;                       // of the tracks, as they are heard
  std::vector<std::vector<double>> levels_db;  // of their seconds; empty until measure_levels()
  std::vector<CopyVerdict> copies;
  std::vector<Seam> seams;
  std::vector<Leak> leaks;
  std::vector<Span> mix_spans;        // mix time to the timeline
  std::vector<double> passed_over_s;  // middles of windows that the latest fine pass left out

  bool stopped() const { return options.stop != nullptr && options.stop->load(); }
  void report(double done, const char* stage) const {
    if (options.progress) options.progress(done, stage);
  }
  /// Placed, and no mix or copy.
  bool is_microphone(std::size_t k) const { return states[k].placed && !states[k].apart; }
  /// Of a placed track.
  MappedTrack mapped(std::size_t k) const { return {tracks[k].signal, &*states[k].map}; }
};

Error interrupted();

/// Sets `levels_db`, once: a pass over all tracks, beside each other, which are no more to be
/// replaced. Fails with the first track's error.
Result<void> measure_levels(Aligning& session);

/// `work(k)` for every track, beside each other. Fails with the first track's error, or with
/// `interrupted`.
template <typename Work>
Result<void> for_tracks(const Aligning& session, const Work& work) {
  const std::size_t count = session.states.size();
  std::vector<std::optional<Error>> errors(count);
  parallel_for(static_cast<int>(count), session.options.threads, [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    if (session.stopped()) return;
    if (Result<void> done = work(k); !done) errors[k] = done.error();
  });
  for (const auto& error : errors)
    if (error) return *error;
  if (session.stopped()) return interrupted();
  return {};
}

/// `ask(k)`, a Result<bool>, of every track, beside each other. Fails as for_tracks() does.
template <typename Ask>
Result<std::vector<bool>> ask_tracks(const Aligning& session, const Ask& ask) {
  std::vector<char> answers(session.states.size(), 0);  // each its own byte
  auto done = for_tracks(session, [&](std::size_t k) -> Result<void> {
    const auto answer = ask(k);
    if (!answer) return answer.error();
    answers[k] = *answer ? 1 : 0;
    return {};
  });
  if (!done) return done.error();
  return std::vector<bool>(answers.begin(), answers.end());
}

/// `work(state)` for every placed track, beside each other.
template <typename Work>
void for_placed(Aligning& session, const Work& work) {
  parallel_for(static_cast<int>(session.states.size()), session.options.threads, [&](int k) {
    TrackState& state = session.states[static_cast<std::size_t>(k)];
    if (state.placed) work(state);
  });
}

}  // namespace kilter::sync

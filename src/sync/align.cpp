#include "kilter/sync/align.h"

#include <algorithm>

#include "aligning.h"
#include "conclusion.h"
#include "first_places.h"
#include "held_back.h"
#include "mix_timeline.h"
#include "neighbours.h"
#include "own_levels.h"
#include "own_lines.h"
#include "own_voice.h"
#include "passing_voices.h"
#include "recorder_fit.h"
#include "recorders.h"
#include "scouts.h"
#include "seam_cuts.h"
#include "seam_gathering.h"
#include "seam_placing.h"
#include "track_fit.h"
#include "window_pass.h"

namespace kilter::sync {
namespace {

constexpr LineFitOptions kPairwiseFit{
    .max_slope = 250e-6, .cluster_s = 1.0e-3, .sigma_floor_s = 2e-6};
constexpr LineFitOptions kCoarseFit{
    .max_slope = 120e-6, .cluster_s = 0.20e-3, .sigma_floor_s = 2e-6};

// What the pairwise pass may be off at the session's ends, when it has followed neighbours' voices.
constexpr double kFirstOffset_s = 0.012;

constexpr double kLeastEvidence = 14.0;  // windows that agree by chance reach 8 sigma or so
constexpr double kLeastShare = 0.2;
constexpr double kFineGate_s = 1.0e-3;  // of a recorder's windows round its best known track
constexpr double kFinalGate_s = 0.25e-3;

void refit_coarsely(const std::vector<Span>& mix_spans, const LineFitOptions& options,
                    TrackState& state) {
  fit_coarsely(state, options);
  make_map(state, mix_spans);
}

/// A track whose windows agree on nothing was placed by chance: it must not explain the others'
/// mix.
void drop_unsupported(double least_share, std::vector<TrackState>& states) {
  for (TrackState& state : states)
    if (state.placed && (state.used == 0 || state.used_share < least_share ||
                         state.evidence_sigma() < kLeastEvidence))
      state.placed = false;
}

Result<void> find_seams(Aligning& session) {
  const auto remote = remote_tracks(session);
  if (!remote) return remote.error();
  leave_out_passing_voices(*remote, session.states);
  session.seams = gather_seams(session.states, *remote);
  if (auto done = place_seams(session.mix, session.tracks, session.states, session.options.threads,
                              session.seams);
      !done)
    return done.error();
  if (auto done =
          set_held_back_aside(session.mix, session.tracks, *remote, session.seams, session.states);
      !done)
    return done.error();
  session.mix_spans = mix_spans_of(session.seams, session.mix.length_s);
  for (const auto& members : members_of_recorders(session.states))
    cut_at_seams(session.seams, members, session.mix_spans, session.states);
  return {};
}

void fit_finally(Aligning& session) {
  fit_recorders_and_mix(kFinalGate_s, session.mix.length_s, session.seams, session.mix_spans,
                        session.states);
}

/// From the fine pass's windows to the final maps.
Result<void> settle(double done_from, double done_to, Aligning& session) {
  session.mix_spans = {{0.0, session.mix.length_s, 0.0, session.mix.length_s, 0.0}};
  if (auto done = find_levels(done_from, done_to, session); !done) return done.error();
  drop_unsupported(kLeastShare, session.states);
  if (session.options.recorders)
    find_recorders(session.states);
  else
    for (std::size_t k = 0; k < session.states.size(); ++k)
      session.states[k].recorder = static_cast<int>(k);
  if (auto done = find_seams(session); !done) return done.error();
  fit_recorders(kFineGate_s, session.mix_spans, session.states);
  if (!session.seams.empty()) {
    // Until then the neighbours' maps were off behind the seams, and their voices unexplained.
    if (auto done = measure(kFine, session.options.joint, done_from, done_from, session); !done)
      return done.error();
    recentre_levels(session.mix_spans, session.states);
    fit_recorders(kFineGate_s, session.mix_spans, session.states);
  }
  keep_clear_windows(session.states);
  if (auto done = measure(kFinal, session.options.joint, done_from, done_to, session); !done)
    return done.error();
  for_placed(session,
             [&](TrackState& state) { recall_scouts(kFinalGate_s, session.mix_spans, state); });
  fit_finally(session);
  if (auto done = place_seams_again(session.mix, session.tracks, session.options.threads,
                                    session.mix_spans, session.seams, session.states);
      !done)
    return done.error();
  fit_finally(session);
  drop_unsupported(kLeastShare, session.states);
  return {};
}

}  // namespace

Result<Alignment> align(const MixInput& mix, const std::vector<TrackInput>& tracks,
                        const AlignOptions& options) {
  Aligning session(mix, tracks, options);
  if (auto done = find_first_places(session); !done) return done.error();
  if (auto done = set_copies_apart(session); !done) return done.error();
  if (auto done = choose_own_lines(session); !done) return done.error();
  if (auto done = measure(kPairwise, false, 0.15, 0.25, session); !done) return done.error();
  for_placed(session,
             [&](TrackState& state) { refit_coarsely(session.mix_spans, kPairwiseFit, state); });
  if (auto done = find_lanes_again(session); !done) return done.error();
  if (auto done = measure(kCoarse, options.joint, 0.25, 0.35, session); !done) return done.error();
  LineFitOptions coarse = kCoarseFit;
  coarse.max_slope = std::min(coarse.max_slope, kFirstOffset_s / mix.length_s);
  for_placed(session, [&](TrackState& state) { refit_coarsely(session.mix_spans, coarse, state); });
  if (auto done = find_lanes_again(session); !done) return done.error();
  drop_unsupported(0.0, session.states);
  if (auto done = measure(kFine, options.joint, 0.35, 0.70, session); !done) return done.error();
  const std::vector<TrackState> fine = session.states;
  if (auto done = settle(0.70, 0.92, session); !done) return done.error();
  if (auto done = look_for_strays(session); !done) return done.error();
  std::vector<std::vector<Measured>> scouts;
  for (std::size_t k = 0; k < session.states.size(); ++k)
    scouts.push_back(scouts_of(session.states, k));
  // Without any, all would settle as before.
  if (std::any_of(scouts.begin(), scouts.end(), [](const auto& each) { return !each.empty(); })) {
    session.states = fine;
    for (std::size_t k = 0; k < session.states.size(); ++k)
      send_out(std::move(scouts[k]), session.states[k]);
    if (auto done = settle(0.92, 0.96, session); !done) return done.error();
    if (auto done = look_for_strays(session); !done) return done.error();
  }
  if (auto done = compare_with_unplaced(session); !done) return done.error();
  if (options.recorders)  // else siblings do not vouch for one who says nothing
    if (auto done = find_borrowed_voices(session); !done) return done.error();
  auto alignment = conclude(session);
  session.report(1.0, "done");
  return alignment;
}

}  // namespace kilter::sync

// The estimator: sound in, placings out. Knows no files and prints nothing.
#pragma once

#include <atomic>
#include <functional>
#include <string>
#include <vector>

#include "kilter/base/byte_store.h"
#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"
#include "kilter/sync/unexplained.h"

namespace kilter::sync {

/// One track to place.
struct TrackInput {
  std::string name;  ///< for whoever reads the placings
  const AnalysisSignal* signal{nullptr};
  double length_s{0.0};  ///< track time, at the nominal rate
  bool lossy{false};     ///< stored through a lossy codec: its delay widens the uncertainty
  double rate_hz{0.0};   ///< as the file states it; 0: not known, and then not doubted
};

struct MixInput {
  const AnalysisSignal* signal{nullptr};
  double length_s{0.0};
  bool lossy{false};
};

struct AlignOptions {
  int threads{1};
  /// Off only to measure what the joint step buys: tracks are then placed one by one.
  bool joint{true};
  /// Whether tracks that begin together and run alike share a recorder. Not so of finished stems,
  /// which all do: then each stands for itself.
  bool recorders{true};
  /// Called from the calling thread with 0..1; may be empty.
  std::function<void(double done, const char* stage)> progress;
  /// Where the features of long sessions lie in place of memory. Empty: in memory.
  OpenByteStore open_store;
  /// Set from elsewhere to give up: align() then fails with `interrupted` within a second or so.
  const std::atomic<bool>* stop{nullptr};
};

/// One measured window of one track, for reports and for the curious.
struct Window {
  double line_s{0.0};     ///< middle of the window on the timeline
  double offset_us{0.0};  ///< measured place minus the final map
  double sigma_us{0.0};   ///< standard error as the window's own evidence gives it
  double weight{0.0};     ///< 0..1 as the robust fit ended; 0: not used
};

struct TrackPlacing {
  Standing standing{Standing::unplaced};
  bool inverted{false};
  std::optional<TimeMap> map;
  double uncertainty_us{0.0};  ///< 95 % bound, worst over the track
  int recorder{-1};    ///< tracks with equal numbers share a recorder's clock; counted from 0
  bool remote{false};  ///< its voice reaches the mix only, no neighbour hears it
  /// What the mix holds once more, on a clock of its own: either would do for the mix.
  bool is_mix_again{false};
  int windows_measured{0};
  int windows_used{0};
  double match_sigma{0.0};     ///< how far the first map's vote stood above chance
  double evidence_sigma{0.0};  ///< the same for all used windows together
  std::vector<Window> windows;
  std::vector<Finding> findings;
};

/// What align() finds.
struct Alignment {
  std::vector<TrackPlacing> tracks;  ///< one per input, in order
  /// Mix time to timeline: one span where the mix is whole.
  std::vector<Span> mix_spans;
  std::vector<Finding> mix_findings;  ///< about the mix
  std::vector<Finding> findings;      ///< about the session
  /// How far the placed tracks explain the mix; no halves where none is placed.
  Unexplained unexplained;
};

/// Places every track against the mix by the joint method: a first map from feature votes, pairwise
/// refinement, then windows in which all tracks together explain the mix, and a robust fit.
/// Bit-identical for any `threads`.
/// Fails only where a signal cannot be read, or a store fails. A silent or foreign track is a
/// placing, not a failure. Cost: about 72 000 transforms of 4096 per track-hour of sessions up to
/// 20 minutes, 28 000 of one that lasts an hour without seams; memory: 0.8 kB per second of every
/// track (3.2 while its features are made) and 40 MB per thread; with a store, of more than 20 hours
/// of tracks, 0.8 kB per second of the mix and of two tracks per thread, and those 40 MB.
Result<Alignment> align(const MixInput& mix, const std::vector<TrackInput>& tracks,
                        const AlignOptions& options);

/// Which of `signals` is the mix: the one in which the others are heard, and as by wire.
struct MixChoice {
  int index{-1};       ///< -1: none stands out
  int rival{-1};       ///< a second candidate that cannot be ruled out, or -1
  int heard_in_it{0};  ///< how many of the others are heard in it
};
/// Cost: a first map for every pair, three where none of them is a mix. Reports progress as align()
/// does.
Result<MixChoice> find_mix(const std::vector<TrackInput>& signals, const AlignOptions& options);

}  // namespace kilter::sync

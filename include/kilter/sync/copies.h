// Tracks that are no microphone of their own: copies of others, copies of the mix, the mixer's own
// mix.
#pragma once

#include <atomic>
#include <cstddef>
#include <span>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"
#include "kilter/signal/onset_features.h"
#include "kilter/sync/first_map.h"

namespace kilter::sync {

enum class CopyKind {
  none,
  of_track,  ///< another track's sound, or part of it, at another level, through a codec or upside
             ///< down
  of_mix,    ///< the mix itself, on the mix's own clock
  own_mix    ///< a mix of the same people that a mixer made: another clock, or other levels
};

struct CopyVerdict {
  CopyKind kind{CopyKind::none};
  std::size_t of{0};     ///< of_track: index of the original, itself no copy
  double delay_s{0.0};   ///< of_track, of_mix: its time of a moment less the original's
  double gain_db{0.0};   ///< of_track, of_mix: its level over the original's
  bool inverted{false};  ///< of_track, of_mix: against the original
  bool is_part{false};   ///< of_track: the original holds more, before it or behind it
  bool whole{false};     ///< own_mix: it holds what the session's mix does, guests and all
  /// What the original leaves unexplained of it, below 0; for `none`, what the track does that
  /// explains it best.
  double depth_db{0.0};
};

struct CopyCandidate {
  const AnalysisSignal* signal{nullptr};
  const FirstMap* map{nullptr};  ///< onto the mix; one that is not found gives `none`
  bool lossy{false};             ///< of two alike the other is the original,
  double rate_hz{0.0};           ///< and of two as good the one of the higher rate
};

/// Compares every two tracks, and every track with the mix, in windows of 3 s spread over the mix,
/// the liveliest of each part. In each a gain and a phase per band, the same for all its frames,
/// explain one signal by the other at a delay that all windows share: enough for levels, equalisers
/// and codecs, and too little for a room, so that a neighbour's microphone or a second microphone
/// of the same person explains little. Two signals that explain each other in all windows in which
/// both run, at one level and on one clock, are copies, the shorter of the longer, and of two as
/// long the poorer or quieter one; of the mix only where the track holds more than one person, for a
/// microphone may be all that the mix holds. A track is a mixer's mix where others explain it
/// together, those of one recorder at one delay, and no single one does; or where it and the mix
/// explain each other on whatever clocks, and it holds one whom another track holds and one whom
/// none does: a guest who recorded what he heard in place of his microphone. What the mix explains
/// nearly all of is then heard from end to end: where half a second of it stands in the mix later
/// than the rest, it is the microphone of one who hardly speaks, and the mix leaks into it.
///
/// One verdict per track, in order; the same for any `threads`. Fails where a signal cannot be
/// read, and with `interrupted` soon after `stop` is set. Cost: about 1800 transforms of 4096 per
/// track, 900 per pair that has anything in common, 900 per track for each that may be a sum; for
/// each that is heard from end to end 16 a second, and up to 240 of 2^18. Memory: 4 MB and 0.4 MB
/// per track, for each thread; and 9 MB.
Result<std::vector<CopyVerdict>> find_copies(const AnalysisSignal& mix,
                                             const OnsetFeatures& mix_features,
                                             std::span<const CopyCandidate> tracks, int threads,
                                             const std::atomic<bool>* stop = nullptr);

/// Whether tracks stand in `signal` as only a wire brings them. 0: none; 1: one; 2: at least two,
/// each where the other does not, or those of one recorder together. A track does where a gain and
/// a phase per band make it explain the signal in two windows or more. A mix holds its tracks so; a
/// microphone holds its neighbours through the air, which no gain undoes. Tracks whose maps onto
/// the signal are not found count for nothing. As find_copies() in all else, its cost too.
Result<int> sources_by_wire(const AnalysisSignal& signal, const OnsetFeatures& features,
                            std::span<const CopyCandidate> tracks, int threads,
                            const std::atomic<bool>* stop = nullptr);

}  // namespace kilter::sync

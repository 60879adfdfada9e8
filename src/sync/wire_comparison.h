// Signals compared in windows spread over the mix: what of each another explains through a wire.
#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/signal/onset_features.h"
#include "kilter/sync/line_fit.h"
#include "window_spectra.h"

namespace kilter::sync {

/// A signal that another explains in a window leaves no more than so much of its power.
inline constexpr double kDeep_db = -10.0;
/// Windows in which two signals have one delay: fewer tell nothing.
inline constexpr std::size_t kLeastTogether = 3;

/// Mix seconds at which windows begin: the liveliest place of each of so many parts.
std::vector<double> choose_windows(const OnsetFeatures& mix);

/// Two signals over all windows.
struct SignalPair {
  LineFit delay;                 // of the second against the first
  std::vector<Meeting> windows;  // none where they have nothing in common
};

/// Of two files, which may be unlike long, where both run.
struct Overlap {
  std::size_t windows{0};  ///< in which neither is quiet, against its loudest of them
  double depth_db{0.0};    ///< what either leaves unexplained of the other, the worse of the two
  double deep_share{0.0};  ///< of the windows, those in which either explains the other
  double steadiness{0.0};  ///< and those in which the level between them is the usual one
};

/// When sources that share their file times are heard in a target, if they come by wire: in each
/// window the one that is heard best tells, and all must tell the same.
struct CommonDelay {
  PlacedSignal placed;  // when any of their files is heard; its signal is left empty
  /// Per window, the source that tells so; nothing where none is heard, or at another time.
  std::vector<std::optional<std::size_t>> tells;
};

/// Every two signals: their common delay, then how much of each, window by window, the other
/// explains at that delay. Nothing may be asked before run(). Signals by their index, which need
/// not be in order. Cost: for each window, kSpectrumFrames transforms of every signal, once more of
/// each that has a delay against another, and of every pair that has one.
class WireComparison {
 public:
  WireComparison(std::vector<PlacedSignal> signals, std::vector<double> windows, int threads,
                 const std::atomic<bool>* stop)
      : signals_(std::move(signals)),
        windows_(std::move(windows)),
        threads_(threads),
        stop_(stop),
        pairs_(signals_.size() * (signals_.size() - 1) / 2) {}

  /// Fails where a signal cannot be read, and with `interrupted` soon after `stop` is set.
  Result<void> run();

  std::size_t windows() const { return windows_.size(); }
  const SignalPair& pair(std::size_t a, std::size_t b) const {
    return pairs_[index(std::min(a, b), std::max(a, b))];
  }

  /// Whether the signal's file lasts from before the window to beyond it.
  bool runs(std::size_t signal, std::size_t w) const;
  bool is_loud(std::size_t signal, std::size_t w) const;
  /// What `source` leaves unexplained of `target` in a window; nothing where the target is quiet.
  std::optional<double> depth_db(std::size_t target, std::size_t source, std::size_t w) const;
  bool is_deep(std::size_t target, std::size_t source, std::size_t w) const {
    const auto depth = depth_db(target, source, w);
    return depth && *depth <= kDeep_db;
  }
  bool is_shallow(std::size_t target, std::size_t source, std::size_t w) const;
  /// Of the windows in which the target is not quiet, how many the source explains.
  double deep_share(std::size_t target, std::size_t source) const;

  /// Level of `target` over `source`, and in how many windows it is the same.
  double gain_db(std::size_t target, std::size_t source) const;
  double steadiness(std::size_t target, std::size_t source) const;
  bool inverted(std::size_t a, std::size_t b) const;

  /// When the sound that `target` holds at mix second `mix_s` stands in the file of `source`, as
  /// the two signals' common delay says.
  double source_s(std::size_t target, std::size_t source, double mix_s) const;
  /// Of the mix, halfway between the first window and the last.
  double middle_s() const { return 0.5 * (windows_.front() + windows_.back()); }
  const PlacedSignal& placed(std::size_t signal) const { return signals_[signal]; }
  /// The source when its sound stands in `target`, as source_s() says.
  PlacedSignal heard(std::size_t target, std::size_t source) const;

  /// The delay that most windows tell to within `cluster_s`, if any two do. Cost: that of a line
  /// fit.
  std::optional<CommonDelay> common_delay(std::size_t target,
                                          const std::vector<std::size_t>& sources,
                                          double cluster_s) const;

  /// Per window, what the sources leave of the target together, each heard as `common` says;
  /// nothing where the target is quiet. Cost: for each window and signal kSpectrumFrames
  /// transforms; for each window and two sources a pass over their spectra.
  Result<std::vector<std::optional<double>>> joint_depths_db(
      std::size_t target, const PlacedSignal& common,
      const std::vector<std::size_t>& sources) const;

  /// The same of one source over all windows together.
  double depth_db(std::size_t target, std::size_t source) const;

  Overlap overlap(std::size_t a, std::size_t b) const;

  /// Where the target, heard throughout and not only in the windows, is not quiet and the source,
  /// whatever its level, explains too little of it; where both run, the longest first. Cost: 2
  /// kSpectrumFrames transforms for each kSpectrumWindow_s. Memory: some 20 bytes a frame.
  Result<std::vector<Stretch>> unexplained(std::size_t target, std::size_t source) const;

 private:
  std::vector<double> gains_db(std::size_t target, std::size_t source) const;
  static std::size_t index(std::size_t a, std::size_t b) { return b * (b - 1) / 2 + a; }
  bool stopped() const { return stop_ != nullptr && stop_->load(); }
  Result<void> outcome(const std::vector<std::optional<Error>>& errors) const;

  Result<void> find_delays();
  Result<void> find_depths();

  std::vector<PlacedSignal> signals_;
  std::vector<double> windows_;  // mix seconds at which they begin
  int threads_;
  const std::atomic<bool>* stop_;
  std::vector<SignalPair> pairs_;
  std::vector<std::vector<std::optional<Observation>>> seen_;  // per window and pair
  std::vector<std::vector<double>> power_;                     // per signal and window
  std::vector<double> loudest_;
};

}  // namespace kilter::sync

// Digital silence amid sound: which of it a recorder wrote for what it lost.
#pragma once

#include <cstdint>
#include <vector>

#include "kilter/base/units.h"

namespace kilter::intake {

/// A run of zeros with sound before and after it, in whole stretches of 50 ms.
struct ZeroRun {
  Frames from;
  Frames length;
  bool loud_before{false};  ///< the stretch before it is above -45 dBFS: somebody speaks
  bool loud_after{false};   ///< and so is the one behind it
};

struct ZeroSum {
  std::int64_t runs{0};
  Frames frames;
  Frames first;  ///< where the first of them starts
};

enum class Zeroed { track, mix };

/// Adds up runs of zeros that break into loud sound: up to 5 s of them, right behind a loud stretch
/// or before one; in a mix up to 10 s between two. Gates and mutes close in a pause, but open on a
/// loud word: where there are many such places, only the former count. A mix with more than four
/// runs of zeros, loud around them or not, may be gated as a whole, and none of them counts: only
/// its tracks tell.
class ZeroTally {
 public:
  explicit ZeroTally(SampleRate rate, Zeroed of = Zeroed::track);
  void add(const ZeroRun& run);
  ZeroSum dropouts() const;
  /// Only those that break off what is loud.
  const ZeroSum& cut_off() const { return cut_off_; }
  /// Whether a run is one of those, by all that were added.
  bool counts(const ZeroRun& run) const;
  /// Whether zeros before loud sound are so few that no gate explains them.
  bool openings_are_few() const;

 private:
  bool may_count(const ZeroRun& run) const;
  bool may_be_gated() const;

  Zeroed of_;
  std::int64_t all_runs_{0};
  std::int64_t longest_frames_;
  std::int64_t longest_between_frames_;  // two loud stretches
  ZeroSum cut_off_;                      // behind a loud stretch
  ZeroSum before_loud_;                  // not so, but before one
};

/// Where all channels are zero at once. Each channel's runs in order, all of one rate.
std::vector<ZeroRun> zero_in_all(const std::vector<std::vector<ZeroRun>>& channels);

}  // namespace kilter::intake

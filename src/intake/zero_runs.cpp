#include "kilter/intake/zero_runs.h"

#include <algorithm>
#include <cmath>

namespace kilter::intake {
namespace {

constexpr std::int64_t kFewOpenings = 3;
constexpr std::int64_t kFewRunsOfMix = 4;
constexpr double kLongestDropoutS = 5.0;  // longer is somebody who muted himself in a word
constexpr double kLongestOfMixS = 10.0;   // which nobody does with a mix

std::int64_t end_of(const ZeroRun& run) { return run.from.n + run.length.n; }

/// What two channels have in common of a run in each; of an edge that both have, either may be
/// loud.
ZeroRun common(const ZeroRun& a, const ZeroRun& b) {
  ZeroRun both;
  both.from.n = std::max(a.from.n, b.from.n);
  both.length.n = std::min(end_of(a), end_of(b)) - both.from.n;
  for (const ZeroRun* each : {&a, &b}) {
    both.loud_before = both.loud_before || (each->from.n == both.from.n && each->loud_before);
    both.loud_after = both.loud_after || (end_of(*each) == end_of(both) && each->loud_after);
  }
  return both;
}

std::vector<ZeroRun> zero_in_both(const std::vector<ZeroRun>& a, const std::vector<ZeroRun>& b) {
  std::vector<ZeroRun> runs;
  std::size_t i = 0;
  std::size_t j = 0;
  while (i < a.size() && j < b.size()) {
    const ZeroRun both = common(a[i], b[j]);
    if (both.length.n > 0) runs.push_back(both);
    if (end_of(a[i]) < end_of(b[j]))
      ++i;
    else
      ++j;
  }
  return runs;
}

}  // namespace

ZeroTally::ZeroTally(SampleRate rate, Zeroed of)
    : of_(of),
      longest_frames_(std::llround(rate.hz * kLongestDropoutS)),
      longest_between_frames_(
          std::llround(rate.hz * (of == Zeroed::mix ? kLongestOfMixS : kLongestDropoutS))) {}

bool ZeroTally::may_count(const ZeroRun& run) const {
  return (run.loud_before || run.loud_after) &&
         run.length.n <=
             (run.loud_before && run.loud_after ? longest_between_frames_ : longest_frames_);
}

bool ZeroTally::may_be_gated() const { return of_ == Zeroed::mix && all_runs_ > kFewRunsOfMix; }

void ZeroTally::add(const ZeroRun& run) {
  ++all_runs_;
  if (!may_count(run)) return;
  ZeroSum& zeros = run.loud_before ? cut_off_ : before_loud_;
  if (zeros.runs == 0) zeros.first = run.from;
  ++zeros.runs;
  zeros.frames.n += run.length.n;
}

bool ZeroTally::counts(const ZeroRun& run) const {
  return !may_be_gated() && may_count(run) && (run.loud_before || openings_are_few());
}

bool ZeroTally::openings_are_few() const {
  return before_loud_.runs <= kFewOpenings * (cut_off_.runs + 1);
}

ZeroSum ZeroTally::dropouts() const {
  if (may_be_gated()) return {};
  if (before_loud_.runs == 0 || !openings_are_few()) return cut_off_;
  if (cut_off_.runs == 0) return before_loud_;
  return {cut_off_.runs + before_loud_.runs,
          {cut_off_.frames.n + before_loud_.frames.n},
          {std::min(cut_off_.first.n, before_loud_.first.n)}};
}

std::vector<ZeroRun> zero_in_all(const std::vector<std::vector<ZeroRun>>& channels) {
  if (channels.empty()) return {};
  std::vector<ZeroRun> runs = channels.front();
  for (std::size_t c = 1; c < channels.size(); ++c) runs = zero_in_both(runs, channels[c]);
  return runs;
}

}  // namespace kilter::intake

#include "kilter/signal/rate_reducer.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <utility>

#include "kilter/signal/analysis_signal.h"
#include "sinc.h"

namespace kilter {
namespace {

// The window's formula is good to 2 dB; 80 dB are promised.
constexpr double kAttenuationDb = 83.0;
// Ratios of the usual rates fit below; of others this many filters per period of the cut-off are
// kept, and interpolating linearly between them adds an error 100 dB down.
constexpr std::int64_t kMostExactTaps = 45000;
constexpr double kPhasesPerPeriod = 512.0;

}  // namespace

ReducerFilter::ReducerFilter(SampleRate rate) {
  const auto rate_hz = static_cast<std::int64_t>(std::llround(rate.hz));
  const std::int64_t divisor = std::gcd(rate_hz, std::int64_t{kAnalysisRateHz});
  up_ = kAnalysisRateHz / divisor;
  down_ = rate_hz / divisor;

  // The band kept ends at 0.45 of the lower rate; its mirror image begins at 0.55.
  const double lower_hz = static_cast<double>(std::min<std::int64_t>(rate_hz, kAnalysisRateHz));
  const double cutoff = 0.5 * lower_hz / static_cast<double>(rate_hz);  // cycles per input frame
  const double transition = 0.1 * lower_hz / static_cast<double>(rate_hz);
  const double taps = (kAttenuationDb - 7.95) / (14.36 * transition);
  half_ =
      (static_cast<std::int64_t>(std::ceil(taps / 2.0)) + 3) / 4 * 4;  // 2 * half_ in lanes of 8

  const bool exact = up_ * 2 * half_ <= kMostExactTaps;
  phases_ = exact ? up_ : static_cast<std::int64_t>(std::ceil(2.0 * cutoff * kPhasesPerPeriod));
  rows_.reserve(static_cast<std::size_t>((phases_ + 1) * 2 * half_));
  for (std::int64_t phase = 0; phase <= phases_; ++phase)
    append_low_pass_row(static_cast<double>(phase) / static_cast<double>(phases_), cutoff, half_,
                        kAttenuationDb, rows_);
}

float ReducerFilter::value_at(const float* input, const Place& place) const {
  const std::int64_t phase = place.numerator * phases_ / up_;
  const std::int64_t rest = place.numerator * phases_ % up_;
  const float here = dot(input, row(phase), 2 * half_);
  if (rest == 0) return here;
  const float there = dot(input, row(phase + 1), 2 * half_);
  return here + static_cast<float>(rest) / static_cast<float>(up_) * (there - here);
}

RateReducer::RateReducer(std::shared_ptr<const ReducerFilter> filter)
    : filter_(std::move(filter)),
      history_(static_cast<std::size_t>(filter_->half() - 1), 0.0F),
      history_first_(-(filter_->half() - 1)) {}

void RateReducer::emit(std::vector<float>& out, std::int64_t last_output) {
  const std::int64_t half = filter_->half();
  const std::int64_t available_end = history_first_ + std::ssize(history_);
  while (next_out_ <= last_output) {
    const auto place = filter_->place_of(next_out_);
    const std::int64_t first = place.frame - (half - 1);
    if (first + 2 * half > available_end) break;
    out.push_back(filter_->value_at(history_.data() + (first - history_first_), place));
    ++next_out_;
  }
  const std::int64_t needed_from = filter_->place_of(next_out_).frame - (half - 1);
  const std::int64_t spent = std::min(needed_from - history_first_, std::ssize(history_));
  if (spent > 0) {
    history_.erase(history_.begin(), history_.begin() + spent);
    history_first_ += spent;
  }
}

void RateReducer::process(std::span<const float> input, std::vector<float>& out) {
  history_.insert(history_.end(), input.begin(), input.end());
  received_ += std::ssize(input);
  emit(out, std::numeric_limits<std::int64_t>::max());
}

void RateReducer::finish(std::vector<float>& out) {
  if (received_ == 0) return;
  history_.insert(history_.end(), static_cast<std::size_t>(2 * filter_->half()), 0.0F);
  emit(out, (received_ - 1) * filter_->up() / filter_->down());
}

}  // namespace kilter

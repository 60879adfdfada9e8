#include "kilter/signal/rate_reducer.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "kilter/signal/analysis_signal.h"
#include "kilter/signal/fft.h"
#include "sinc.h"

namespace kilter {
namespace {

constexpr double kAttenuationDb = 80.0;

}  // namespace

RateReducer::RateReducer(SampleRate rate) {
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

  const double beta = kaiser_beta(kAttenuationDb);
  phases_.resize(static_cast<std::size_t>(up_ * 2 * half_));
  for (std::int64_t phase = 0; phase < up_; ++phase) {
    const double fraction = static_cast<double>(phase) / static_cast<double>(up_);
    double sum = 0.0;
    std::vector<double> filter(static_cast<std::size_t>(2 * half_));
    for (std::int64_t tap = 0; tap < 2 * half_; ++tap) {
      // Tap `half_ - 1` sits on the input frame at or before the output's place.
      const double distance = static_cast<double>(tap - (half_ - 1)) - fraction;
      const double value = 2.0 * cutoff * sinc(2.0 * cutoff * distance) *
                           kaiser(distance / static_cast<double>(half_), beta);
      filter[static_cast<std::size_t>(tap)] = value;
      sum += value;
    }
    for (std::int64_t tap = 0; tap < 2 * half_; ++tap)
      phases_[static_cast<std::size_t>(phase * 2 * half_ + tap)] =
          static_cast<float>(filter[static_cast<std::size_t>(tap)] / sum);
  }
  history_first_ = -(half_ - 1);
  history_.assign(static_cast<std::size_t>(half_ - 1), 0.0F);
}

void RateReducer::emit(std::vector<float>& out, std::int64_t last_output) {
  const std::int64_t available_end = history_first_ + std::ssize(history_);
  while (next_out_ <= last_output) {
    const std::int64_t place = next_out_ * down_ / up_;
    const std::int64_t phase = next_out_ * down_ % up_;
    const std::int64_t first = place - (half_ - 1);
    if (first + 2 * half_ > available_end) break;
    out.push_back(dot(history_.data() + (first - history_first_),
                      phases_.data() + phase * 2 * half_, 2 * half_));
    ++next_out_;
  }
  const std::int64_t needed_from = next_out_ * down_ / up_ - (half_ - 1);
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
  history_.insert(history_.end(), static_cast<std::size_t>(2 * half_), 0.0F);
  emit(out, (received_ - 1) * up_ / down_);
}

}  // namespace kilter

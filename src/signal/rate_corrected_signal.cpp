#include "kilter/signal/rate_corrected_signal.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "sinc.h"

namespace kilter {
namespace {

struct LowPass {
  double attenuation_db;
  double transition;  // of the lower rate, half of it on either side of the Nyquist frequency
};
// The window's formula is good to a few dB at the edge; 80 and 40 dB are promised.
constexpr LowPass kFine{90.0, 0.1};
constexpr LowPass kRough{50.0, 0.55};
// Interpolating linearly between so many filters adds an error 100 dB down.
constexpr double kPhasesPerPeriod = 512.0;
constexpr std::int64_t kBlock = 65536;  // frames read at once, corrected or nominal

std::int64_t taps_on_a_side(const LowPass& filter, double lower_rate) {
  const double taps = (filter.attenuation_db - 7.95) / (14.36 * filter.transition * lower_rate);
  return (static_cast<std::int64_t>(std::ceil(taps / 2.0)) + 3) / 4 * 4;  // both in lanes of 8
}

}  // namespace

RateCorrectedSignal::RateCorrectedSignal(const AnalysisSignal& nominal, double ratio,
                                         RateCorrection kind)
    : nominal_(nominal), ratio_(ratio) {
  assert(ratio >= 1.0 / 16.0 && ratio <= 16.0);
  const double lower_rate = std::min(1.0, 1.0 / ratio);  // per nominal frame
  const LowPass& filter = kind == RateCorrection::fine ? kFine : kRough;
  half_ = taps_on_a_side(filter, lower_rate);
  phases_ = static_cast<std::int64_t>(std::ceil(lower_rate * kPhasesPerPeriod));
  rows_.reserve(static_cast<std::size_t>((phases_ + 1) * 2 * half_));
  for (std::int64_t phase = 0; phase <= phases_; ++phase)
    append_low_pass_row(static_cast<double>(phase) / static_cast<double>(phases_), 0.5 * lower_rate,
                        half_, filter.attenuation_db, rows_);
}

std::int64_t RateCorrectedSignal::frames() const {
  const std::int64_t nominal = nominal_.frames();
  if (nominal <= 0) return 0;
  return static_cast<std::int64_t>(std::floor(static_cast<double>(nominal - 1) / ratio_)) + 1;
}

Result<void> RateCorrectedSignal::read(std::int64_t first, std::span<float> out) const {
  std::fill(out.begin(), out.end(), 0.0F);
  const std::int64_t from = std::max<std::int64_t>(first, 0);
  const std::int64_t to = std::min(first + std::ssize(out), frames());
  const std::int64_t step =
      static_cast<std::int64_t>(static_cast<double>(kBlock) / std::max(1.0, ratio_));
  std::vector<float> input;
  for (std::int64_t at = from; at < to; at += step) {
    const auto block = out.subspan(static_cast<std::size_t>(at - first),
                                   static_cast<std::size_t>(std::min(step, to - at)));
    if (auto read = read_block(at, block, input); !read) return read.error();
  }
  return {};
}

Result<void> RateCorrectedSignal::read_block(std::int64_t first, std::span<float> out,
                                             std::vector<float>& input) const {
  const auto place = [&](std::int64_t frame) { return static_cast<double>(frame) * ratio_; };
  const auto whole = [&](std::int64_t frame) {
    return static_cast<std::int64_t>(std::floor(place(frame)));
  };
  const std::int64_t input_first = whole(first) - (half_ - 1);
  const std::int64_t input_end = whole(first + std::ssize(out) - 1) + half_ + 1;
  input.resize(static_cast<std::size_t>(input_end - input_first));
  if (auto read = nominal_.read(input_first, input); !read) return read.error();
  interpolate(input, input_first, first, out);
  return {};
}

KILTER_WIDE void RateCorrectedSignal::interpolate(std::span<const float> input,
                                                  std::int64_t input_first, std::int64_t first,
                                                  std::span<float> out) const {
  const std::int64_t taps = 2 * half_;
  for (std::size_t i = 0; i < out.size(); ++i) {
    const double place = static_cast<double>(first + static_cast<std::int64_t>(i)) * ratio_;
    const double whole = std::floor(place);
    const double phase = (place - whole) * static_cast<double>(phases_);
    const auto row = std::min(static_cast<std::int64_t>(phase), phases_ - 1);
    const float* filter = rows_.data() + row * taps;
    const float* from =
        input.data() + (static_cast<std::int64_t>(whole) - (half_ - 1) - input_first);
    const float here = dot(from, filter, taps);
    const float there = dot(from, filter + taps, taps);
    out[i] = here + static_cast<float>(phase - static_cast<double>(row)) * (there - here);
  }
}

}  // namespace kilter

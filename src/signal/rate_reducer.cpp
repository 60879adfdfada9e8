#include "kilter/signal/rate_reducer.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>
#include <utility>

#include "kilter/base/wide_loops.h"
#include "kilter/signal/analysis_signal.h"
#include "reducer_runs.h"
#include "sinc.h"

namespace kilter {
namespace {

// The window's formula is good to 2 dB; 80 dB are promised.
constexpr double kAttenuationDb = 83.0;
// Ratios of the usual rates fit below; of others this many filters per period of the cut-off are
// kept, and interpolating linearly between them adds an error 100 dB down.
constexpr std::int64_t kMostExactTaps = 45000;
constexpr double kPhasesPerPeriod = 512.0;
// The sinc's zeros, but for rounding: 200 dB below its middle.
constexpr float kZeroTap = 1e-11F;

/// `input` by turns to each of `phases`.
KILTER_WIDE void deal_out(const float* input, std::span<std::vector<float>> phases) {
  const std::size_t count = phases.front().size();
  if (phases.size() == 3) {  // as from 48 kHz: spelled out, it vectorises
    float* const first = phases[0].data();
    float* const second = phases[1].data();
    float* const third = phases[2].data();
    for (std::size_t i = 0; i < count; ++i) {
      first[i] = input[3 * i];
      second[i] = input[3 * i + 1];
      third[i] = input[3 * i + 2];
    }
    return;
  }
  for (std::size_t p = 0; p < phases.size(); ++p)
    for (std::size_t i = 0; i < count; ++i) phases[p][i] = input[i * phases.size() + p];
}

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
  if (is_decimator()) list_runs();
}

void ReducerFilter::list_runs() {
  const std::int64_t taps = 2 * half_;
  for (std::int64_t first = 0; first < std::min(taps, 8 * down_); ++first) {
    ReducerRun run{static_cast<std::size_t>(first % down_), first / down_, {}};
    for (std::int64_t tap = first; tap < taps; tap += 8 * down_)
      run.weights.push_back(rows_[static_cast<std::size_t>(tap)]);
    while (!run.weights.empty() && std::abs(run.weights.back()) <= kZeroTap) run.weights.pop_back();
    const auto heavy = std::find_if(run.weights.begin(), run.weights.end(),
                                    [](float weight) { return std::abs(weight) > kZeroTap; });
    run.shift += 8 * (heavy - run.weights.begin());
    run.weights.erase(run.weights.begin(), heavy);
    if (!run.weights.empty()) runs_.push_back(std::move(run));
  }
}

void ReducerFilter::value_batch(std::span<const float* const> phases, float* out) const {
  add_up_runs(runs_, phases, out);
}

KILTER_WIDE void ReducerFilter::values_at(const float* input, const Place& place,
                                          std::int64_t count, float* out) const {
  std::int64_t i = 0;
  if (phases_ == up_) {
    const float* const taps = row(place.numerator);
    for (; i + 4 <= count; i += 4, input += 4 * down_) {
      Float8 a{}, b{}, c{}, d{}, weights{}, x{};
      for (std::int64_t tap = 0; tap < 2 * half_; tap += 8) {
        load(taps + tap, weights);
        load(input + tap, x);
        a += x * weights;
        load(input + down_ + tap, x);
        b += x * weights;
        load(input + 2 * down_ + tap, x);
        c += x * weights;
        load(input + 3 * down_ + tap, x);
        d += x * weights;
      }
      out[i * up_] = sum_of_lanes(a);
      out[(i + 1) * up_] = sum_of_lanes(b);
      out[(i + 2) * up_] = sum_of_lanes(c);
      out[(i + 3) * up_] = sum_of_lanes(d);
    }
  }
  for (; i < count; ++i, input += down_) out[i * up_] = value_at(input, place);
}

KILTER_WIDE float ReducerFilter::value_at(const float* input, const Place& place) const {
  if (phases_ == up_) return dot(input, row(place.numerator), 2 * half_);
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

/// Outputs that lie alike between input frames go together: one filter serves them all.
void RateReducer::emit_by_place(std::vector<float>& out, std::int64_t last_output) {
  const std::int64_t half = filter_->half();
  const std::int64_t up = filter_->up();
  const std::int64_t places_end = history_first_ + std::ssize(history_) - half;  // input frames
  if (places_end <= 0) return;
  last_output = std::min(last_output, (places_end * up - 1) / filter_->down());
  const std::int64_t count = last_output + 1 - next_out_;
  if (count <= 0) return;
  const auto before = std::ssize(out);
  out.resize(out.size() + static_cast<std::size_t>(count));
  for (std::int64_t i = 0; i < std::min(up, count); ++i) {
    const auto place = filter_->place_of(next_out_ + i);
    const std::int64_t first = place.frame - (half - 1) - history_first_;
    filter_->values_at(history_.data() + first, place, (count - i + up - 1) / up,
                       out.data() + before + i);
  }
  next_out_ += count;
}

/// In whole batches, so that the output does not depend on how the input comes in blocks.
void RateReducer::emit_in_batches(std::vector<float>& out, std::int64_t last_output) {
  constexpr std::int64_t kBatch = ReducerFilter::kBatch;
  const std::int64_t down = filter_->down();
  const std::int64_t first =
      filter_->place_of(next_out_).frame - (filter_->half() - 1) - history_first_;
  const std::int64_t frames = (std::ssize(history_) - first) / down;  // in each phase
  const std::int64_t batches = (frames - filter_->batch_frames() + kBatch) / kBatch;
  if (batches <= 0 || frames < filter_->batch_frames()) return;
  phases_.resize(static_cast<std::size_t>(down));
  for (auto& phase : phases_) phase.resize(static_cast<std::size_t>(frames));
  deal_out(history_.data() + first, phases_);
  std::vector<const float*> at;
  for (const auto& phase : phases_) at.push_back(phase.data());
  std::array<float, kBatch> values{};
  for (std::int64_t batch = 0; batch < batches && next_out_ <= last_output; ++batch) {
    filter_->value_batch(at, values.data());
    const std::int64_t wanted = std::min(kBatch - 1, last_output - next_out_) + 1;
    out.insert(out.end(), values.begin(), values.begin() + wanted);
    next_out_ += wanted;
    for (const float*& phase : at) phase += kBatch;
  }
}

void RateReducer::drop_spent() {
  const std::int64_t needed_from = filter_->place_of(next_out_).frame - (filter_->half() - 1);
  const std::int64_t spent = std::min(needed_from - history_first_, std::ssize(history_));
  if (spent <= 0) return;
  history_.erase(history_.begin(), history_.begin() + spent);
  history_first_ += spent;
}

void RateReducer::emit(std::vector<float>& out, std::int64_t last_output) {
  if (filter_->is_decimator())
    emit_in_batches(out, last_output);
  else
    emit_by_place(out, last_output);
  drop_spent();
}

void RateReducer::process(std::span<const float> input, std::vector<float>& out) {
  history_.insert(history_.end(), input.begin(), input.end());
  received_ += std::ssize(input);
  emit(out, std::numeric_limits<std::int64_t>::max());
}

void RateReducer::finish(std::vector<float>& out) {
  if (received_ == 0) return;
  const std::int64_t after = 2 * filter_->half() + (filter_->batch_frames() + 1) * filter_->down();
  history_.insert(history_.end(), static_cast<std::size_t>(after), 0.0F);
  emit(out, (received_ - 1) * filter_->up() / filter_->down());
}

}  // namespace kilter

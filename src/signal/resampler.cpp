#include "kilter/signal/resampler.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

#include "kilter/base/whole_frames.h"
#include "kilter/signal/fft.h"
#include "sinc.h"

namespace kilter {
namespace {

// 130 dB over 96 taps reach from 0.91 to 1.09 of the half rate. Interpolating linearly between
// 4096 phases adds an error 140 dB down; both together stay below 120 dB.
constexpr double kAttenuationDb = 130.0;
constexpr double kHalfTaps = 48.0;
constexpr int kPhaseBits = 12;
// Up to here clocks drift; beyond it the sound is pressed together and the cut-off must follow.
constexpr double kLargestDrift = 1.002;
// A hundredfold reduction is the largest that rates from 1 kHz to 768 kHz and sense can ask for.
constexpr double kLargestStretch = 128.0;
constexpr double kLargestStep = 1e6;
constexpr std::int64_t kBlock = 16384;
// Where two spans meet, rounding may step back by a frame.
constexpr std::int64_t kSlack = 2;

}  // namespace

MapResampler::MapResampler(const TimeMap& map, SampleRate in_rate, SampleRate out_rate,
                           double from_s, Pull pull)
    : in_hz_(in_rate.hz), out_hz_(out_rate.hz), pull_(std::move(pull)) {
  double fastest = 1.0;
  for (const Span& span : map.spans()) {
    runs_.push_back(run_of(span, from_s));
    fastest = std::max(fastest, runs_.back().frames_per_out);
  }
  make_table(fastest > kLargestDrift ? std::min(fastest, kLargestStretch) : 1.0);
  history_.assign(static_cast<std::size_t>(2 * half_ + kSlack), 0.0F);
  history_first_ = -std::ssize(history_);
}

MapResampler::Position MapResampler::to_position(double frames) {
  const double kept = bounded_frames(frames);
  const double whole = std::floor(kept);
  const double fraction = std::min(kept - whole, 1.0 - 0x1p-53);  // rounding may make it 1
  return {static_cast<std::int64_t>(whole), static_cast<std::uint64_t>(std::ldexp(fraction, 64))};
}

MapResampler::Run MapResampler::run_of(const Span& span, double from_s) const {
  Run run;
  run.out_first =
      std::max<std::int64_t>(first_frame_from((span.line_from_s - from_s) * out_hz_), 0);
  run.out_end = first_frame_from((span.line_to_s - from_s) * out_hz_);
  run.frames_per_out = std::min(in_hz_ / (out_hz_ * span.rate()), kLargestStep);
  const double line_s = from_s - span.line_from_s;  // of output frame 0, inside the span
  const double start = (span.from_s + line_s / span.rate()) * in_hz_ +
                       static_cast<double>(run.out_first) * run.frames_per_out;
  const auto length = static_cast<double>(run.out_end - run.out_first);
  run.copies = is_whole_frame(start) && std::abs(run.frames_per_out - 1.0) * length <= kWholeFrame;
  run.start = to_position(run.copies ? std::round(start) : start);
  run.step = to_position(run.copies ? 1.0 : run.frames_per_out);
  return run;
}

void MapResampler::make_table(double stretch) {
  half_ = 4 * static_cast<std::int64_t>(std::ceil(kHalfTaps * stretch / 4.0));
  phase_bits_ = kPhaseBits - static_cast<int>(std::log2(stretch));
  const std::int64_t taps = 2 * half_;
  const std::int64_t rows = (std::int64_t{1} << phase_bits_) + 1;
  const double beta = kaiser_beta(kAttenuationDb);
  std::vector<double> row(static_cast<std::size_t>(taps));
  table_.reserve(static_cast<std::size_t>(rows * taps));
  for (std::int64_t phase = 0; phase < rows; ++phase) {
    const double fraction = std::ldexp(static_cast<double>(phase), -phase_bits_);
    double sum = 0.0;
    for (std::int64_t tap = 0; tap < taps; ++tap) {
      // Tap half_ - 1 lies on the frame at or before the position.
      const double distance = static_cast<double>(tap - (half_ - 1)) - fraction;
      const double value =
          sinc(distance / stretch) * kaiser(distance / static_cast<double>(half_), beta);
      row[static_cast<std::size_t>(tap)] = value;
      sum += value;
    }
    for (const double value : row) table_.push_back(static_cast<float>(value / sum));
  }
}

Result<void> MapResampler::read(std::span<float> out) {
  while (!out.empty()) {
    while (run_ < runs_.size() && next_out_ >= runs_[run_].out_end) ++run_;
    const std::int64_t wanted = std::ssize(out);
    std::int64_t count = wanted;
    if (run_ == runs_.size() || next_out_ < runs_[run_].out_first) {
      if (run_ < runs_.size()) count = std::min(wanted, runs_[run_].out_first - next_out_);
      std::fill_n(out.begin(), count, 0.0F);
    } else {
      const Run& run = runs_[run_];
      count = std::min(wanted, run.out_end - next_out_);
      if (auto filled = fill(run, out.first(static_cast<std::size_t>(count))); !filled)
        return filled.error();
    }
    next_out_ += count;
    out = out.subspan(static_cast<std::size_t>(count));
  }
  return {};
}

Result<void> MapResampler::fill(const Run& run, std::span<float> out) {
  if (next_out_ == run.out_first) position_ = run.start;
  for (float& sample : out) {
    const std::int64_t first = position_.frame - (half_ - 1);
    if (!ended_ && first + 2 * half_ > history_end())
      if (auto pulled = pull_until(first + 2 * half_, first - kSlack); !pulled)
        return pulled.error();
    sample = value_at(run);
    position_.advance(run.step);
  }
  return {};
}

Result<void> MapResampler::pull_until(std::int64_t end, std::int64_t keep_from) {
  while (!ended_ && history_end() < end) {
    const std::int64_t spent =
        std::clamp<std::int64_t>(keep_from - history_first_, 0, std::ssize(history_));
    history_.erase(history_.begin(), history_.begin() + spent);
    history_first_ += spent;
    const std::size_t kept = history_.size();
    history_.resize(kept + kBlock);
    const auto got = pull_(std::span(history_).subspan(kept));
    if (!got) return got.error();
    history_.resize(kept + static_cast<std::size_t>(*got));
    ended_ = *got < kBlock;
  }
  if (ended_) history_.insert(history_.end(), static_cast<std::size_t>(2 * half_), 0.0F);
  return {};
}

float MapResampler::value_at(const Run& run) const {
  const std::int64_t first = position_.frame - (half_ - 1);
  const bool before_track = first + 2 * half_ <= 0;
  const bool after_track = first + 2 * half_ > history_end();
  if (before_track || after_track) return 0.0F;
  assert(first >= history_first_);
  const float* input = history_.data() + (first - history_first_);
  return run.copies ? input[half_ - 1] : interpolate(input);
}

KILTER_WIDE float MapResampler::interpolate(const float* input) const {
  const std::int64_t taps = 2 * half_;
  const auto phase = static_cast<std::int64_t>(position_.fraction >> (64 - phase_bits_));
  const double rest = std::ldexp(static_cast<double>(position_.fraction << phase_bits_), -64);
  const float* row = table_.data() + phase * taps;
  const double here = dot(input, row, taps);
  const double there = dot(input, row + taps, taps);
  return static_cast<float>(here + rest * (there - here));
}

}  // namespace kilter

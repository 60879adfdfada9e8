#include "kilter/signal/hum_meter.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "kilter/base/decibels.h"
#include "kilter/signal/wide_loops.h"

namespace kilter {
namespace {

constexpr double kStretch_s = 0.05;
constexpr double kBeside_hz = 4.0;   // where a steady line of a second leaves nothing
constexpr double kStandsOut = 10.0;  // in power
constexpr std::int64_t kLeastSeconds = 10;
constexpr double kSteady_db = 3.0;  // between the quarters
constexpr double kStrong_db = -30.0;
constexpr double kLeast_dbfs = -70.0;

std::size_t frames_in(double seconds, double rate_hz) {
  return std::max<std::size_t>(1, static_cast<std::size_t>(std::llround(seconds * rate_hz)));
}

struct Projection {
  double on_cosine{0.0};
  double on_sine{0.0};
};

KILTER_WIDE Projection project(const float* x, const float* cosines, const float* sines,
                               std::size_t count) {
  Float8 c{};
  Float8 s{};
  std::size_t i = 0;
  for (; i + 8 <= count; i += 8) {
    Float8 frame{};
    Float8 cosine{};
    Float8 sine{};
    load(x + i, frame);
    load(cosines + i, cosine);
    load(sines + i, sine);
    c += frame * cosine;
    s += frame * sine;
  }
  Projection sum;
  for (int lane = 0; lane < 8; ++lane) {
    sum.on_cosine += static_cast<double>(c[lane]);
    sum.on_sine += static_cast<double>(s[lane]);
  }
  for (; i < count; ++i) {
    sum.on_cosine += static_cast<double>(x[i] * cosines[i]);
    sum.on_sine += static_cast<double>(x[i] * sines[i]);
  }
  return sum;
}

KILTER_WIDE double squared_differences(const float* x, const float* earlier, std::size_t count) {
  Float8 squares{};
  std::size_t i = 0;
  for (; i + 8 <= count; i += 8) {
    Float8 now{};
    Float8 before{};
    load(x + i, now);
    load(earlier + i, before);
    const Float8 difference = now - before;
    squares += difference * difference;
  }
  double sum = 0.0;
  for (int lane = 0; lane < 8; ++lane) sum += static_cast<double>(squares[lane]);
  for (; i < count; ++i) {
    const auto difference = static_cast<double>(x[i] - earlier[i]);
    sum += difference * difference;
  }
  return sum;
}

}  // namespace

double power_without_period(std::span<const float> frames, std::size_t period) {
  if (frames.size() <= period) return 0.0;
  const std::size_t count = frames.size() - period;
  return 0.5 * squared_differences(frames.data() + period, frames.data(), count) /
         static_cast<double>(count);
}

HumMeter::HumMeter(SampleRate rate)
    : rate_hz_(rate.hz), stretch_frames_(frames_in(kStretch_s, rate.hz)) {
  constexpr std::array<double, 2> kMains_hz{50.0, 60.0};
  for (std::size_t k = 0; k < lines_.size(); ++k) {
    Line& line = lines_[k];
    line.hz = kMains_hz[k];
    line.period_frames = frames_in(1.0 / line.hz, rate_hz_);
    for (std::size_t i = 0; i < stretch_frames_; ++i) {
      const double angle = 2.0 * std::numbers::pi * line.hz * static_cast<double>(i) / rate_hz_;
      line.cosines.push_back(static_cast<float>(std::cos(angle)));
      line.sines.push_back(static_cast<float>(std::sin(angle)));
    }
  }
  history_frames_ = lines_[0].period_frames;
  buffer_.assign(history_frames_ + stretch_frames_, 0.0F);
  filled_ = history_frames_;
}

void HumMeter::process(std::span<const float> frames) {
  while (!frames.empty()) {
    const std::size_t count = std::min(frames.size(), buffer_.size() - filled_);
    std::copy_n(frames.begin(), count, buffer_.begin() + static_cast<std::ptrdiff_t>(filled_));
    filled_ += count;
    frames = frames.subspan(count);
    if (filled_ == buffer_.size()) end_stretch();
  }
}

void HumMeter::end_stretch() {
  const std::span<const float> all = buffer_;
  for (Line& line : lines_) {
    const Projection sum = project(all.data() + history_frames_, line.cosines.data(),
                                   line.sines.data(), stretch_frames_);
    line.stretches[in_second_] = {sum.on_cosine, -sum.on_sine};
    line.rest.add(power_to_db(power_without_period(
        all.subspan(history_frames_ - line.period_frames), line.period_frames)));
  }
  if (++in_second_ == kStretchesPerSecond) {
    for (Line& line : lines_) end_second(line);
    in_second_ = 0;
  }
  std::copy(buffer_.end() - static_cast<std::ptrdiff_t>(history_frames_), buffer_.end(),
            buffer_.begin());
  filled_ = history_frames_;
}

/// Of a line at `hz`, close to the one that stretches were projected on, over the last second,
/// which sets in and out gently.
double HumMeter::power_at(const Line& line, double hz) const {
  const double turn = 2.0 * std::numbers::pi * hz * static_cast<double>(stretch_frames_) / rate_hz_;
  std::complex<double> sum;
  double weights = 0.0;
  for (std::size_t m = 0; m < kStretchesPerSecond; ++m) {
    const double at = static_cast<double>(m);
    const double weight = 1.0 - std::cos(2.0 * std::numbers::pi * (at + 0.5) / kStretchesPerSecond);
    sum += weight * line.stretches[m] * std::polar(1.0, -turn * at);
    weights += weight;
  }
  const double amplitude = 2.0 * std::abs(sum) / (weights * static_cast<double>(stretch_frames_));
  return 0.5 * amplitude * amplitude;
}

void HumMeter::end_second(Line& line) const {
  const double power = power_at(line, line.hz);
  const double beside =
      std::max(power_at(line, line.hz - kBeside_hz), power_at(line, line.hz + kBeside_hz));
  line.seconds.add(power_to_db(power > kStandsOut * beside ? power : 0.0));
}

std::optional<Hum> HumMeter::hum_of(const Line& line) const {
  if (line.seconds.count() < kLeastSeconds) return std::nullopt;
  Hum hum;
  hum.hz = line.hz;
  hum.dbfs = line.seconds.percentile_db(0.5);
  hum.level_dbfs = line.rest.percentile_db(0.95);
  hum.loudest_dbfs = line.rest.percentile_db(0.999);
  hum.floor_dbfs = line.rest.percentile_db(0.10);
  const double spread_db = line.seconds.percentile_db(0.75) - line.seconds.percentile_db(0.25);
  if (!(hum.dbfs > kLeast_dbfs) || !(spread_db < kSteady_db) ||
      hum.dbfs < hum.loudest_dbfs + kStrong_db)
    return std::nullopt;
  return hum;
}

std::optional<Hum> HumMeter::hum() const {
  const auto slow = hum_of(lines_[0]);
  const auto fast = hum_of(lines_[1]);
  if (slow && fast) return slow->dbfs >= fast->dbfs ? slow : fast;
  return slow ? slow : fast;
}

}  // namespace kilter

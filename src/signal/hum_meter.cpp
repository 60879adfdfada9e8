#include "kilter/signal/hum_meter.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "kilter/base/decibels.h"
#include "kilter/base/wide_loops.h"

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

struct Sums {
  double on_cosine{0.0};
  double on_sine{0.0};
  double squared_difference{0.0};  // from what was a period before
};

/// What one line's sums are taken over.
struct Rows {
  const float* cosines;
  const float* sines;
  const float* earlier;
};

/// Both lines' in one go: none of the sums waits for another, and the frames are loaded once.
KILTER_WIDE std::array<Sums, 2> sums_of(const float* x, const std::array<Rows, 2>& rows,
                                        std::size_t count) {
  struct Lanes {
    Float8 on_cosine{}, on_sine{}, squares{};
  };
  std::array<Lanes, 2> lanes{};
  std::size_t i = 0;
  for (; i + 8 <= count; i += 8) {
    Float8 now{};
    load(x + i, now);
    for (std::size_t k = 0; k < 2; ++k) {
      Float8 cosine{};
      Float8 sine{};
      Float8 before{};
      load(rows[k].cosines + i, cosine);
      load(rows[k].sines + i, sine);
      load(rows[k].earlier + i, before);
      const Float8 difference = now - before;
      lanes[k].on_cosine += now * cosine;
      lanes[k].on_sine += now * sine;
      lanes[k].squares += difference * difference;
    }
  }
  std::array<Sums, 2> sums{};
  for (std::size_t k = 0; k < 2; ++k) {
    for (int lane = 0; lane < 8; ++lane) {
      sums[k].on_cosine += static_cast<double>(lanes[k].on_cosine[lane]);
      sums[k].on_sine += static_cast<double>(lanes[k].on_sine[lane]);
      sums[k].squared_difference += static_cast<double>(lanes[k].squares[lane]);
    }
    for (std::size_t rest = i; rest < count; ++rest) {
      sums[k].on_cosine += static_cast<double>(x[rest] * rows[k].cosines[rest]);
      sums[k].on_sine += static_cast<double>(x[rest] * rows[k].sines[rest]);
      const auto difference = static_cast<double>(x[rest] - rows[k].earlier[rest]);
      sums[k].squared_difference += difference * difference;
    }
  }
  return sums;
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
    line.turns = turns_at(line.hz);
    line.turns_below = turns_at(line.hz - kBeside_hz);
    line.turns_above = turns_at(line.hz + kBeside_hz);
    for (std::size_t i = 0; i < stretch_frames_; ++i) {
      const double angle = 2.0 * std::numbers::pi * line.hz * static_cast<double>(i) / rate_hz_;
      line.cosines.push_back(static_cast<float>(std::cos(angle)));
      line.sines.push_back(static_cast<float>(std::sin(angle)));
    }
  }
  for (std::size_t m = 0; m < kStretchesPerSecond; ++m) {
    const double at = static_cast<double>(m);
    weights_[m] = 1.0 - std::cos(2.0 * std::numbers::pi * (at + 0.5) / kStretchesPerSecond);
    weights_in_all_ += weights_[m];
  }
  history_frames_ = lines_[0].period_frames;
  buffer_.assign(history_frames_ + stretch_frames_, 0.0F);
  filled_ = history_frames_;
}

HumMeter::Turns HumMeter::turns_at(double hz) const {
  const double turn = 2.0 * std::numbers::pi * hz * static_cast<double>(stretch_frames_) / rate_hz_;
  Turns turns{};
  for (std::size_t m = 0; m < kStretchesPerSecond; ++m)
    turns[m] = std::polar(1.0, -turn * static_cast<double>(m));
  return turns;
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
  const float* const now = buffer_.data() + history_frames_;
  std::array<Rows, 2> rows{};
  for (std::size_t k = 0; k < lines_.size(); ++k)
    rows[k] = {lines_[k].cosines.data(), lines_[k].sines.data(), now - lines_[k].period_frames};
  const std::array<Sums, 2> sums = sums_of(now, rows, stretch_frames_);
  for (std::size_t k = 0; k < lines_.size(); ++k) {
    lines_[k].stretches[in_second_] = {sums[k].on_cosine, -sums[k].on_sine};
    lines_[k].rest.add(
        power_to_db(0.5 * sums[k].squared_difference / static_cast<double>(stretch_frames_)));
  }
  if (++in_second_ == kStretchesPerSecond) {
    for (Line& line : lines_) end_second(line);
    in_second_ = 0;
  }
  std::copy(buffer_.end() - static_cast<std::ptrdiff_t>(history_frames_), buffer_.end(),
            buffer_.begin());
  filled_ = history_frames_;
}

/// Of the line whose turns these are, over the last second, which sets in and out gently.
double HumMeter::power_at(const Line& line, const Turns& turns) const {
  std::complex<double> sum;
  for (std::size_t m = 0; m < kStretchesPerSecond; ++m)
    sum += weights_[m] * line.stretches[m] * turns[m];
  const double amplitude =
      2.0 * std::abs(sum) / (weights_in_all_ * static_cast<double>(stretch_frames_));
  return 0.5 * amplitude * amplitude;
}

void HumMeter::end_second(Line& line) const {
  const double power = power_at(line, line.turns);
  const double beside =
      std::max(power_at(line, line.turns_below), power_at(line, line.turns_above));
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

#include "kilter/intake/level_meter.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "kilter/base/decibels.h"
#include "kilter/base/wide_loops.h"

namespace kilter::intake {
namespace {

constexpr double kStretchS = 0.05;
constexpr double kTalkRangeDb = 25.0;
constexpr double kTalkAboveFloorDb = 9.0;
// 16-bit files reach full scale here on the positive side; finer ones a little above.
constexpr float kFullScale = 32767.0F / 32768.0F;
// A peak that only touches full scale is no clipping, nor is one above it in a file of floats; a
// flat top is.
constexpr std::int64_t kClipRunFrames = 3;
constexpr double kLoudPower = 3.2e-5;  // -45 dBFS: somebody speaks, or a door falls shut
constexpr std::size_t kMostZeroRuns = 4096;
constexpr std::int64_t kGateClosesIn = 10;  // stretches behind a word, at most
constexpr std::int64_t kFewRuns = 4;
constexpr double kGateTakes = 0.1;    // of the time from first sound to last, at least
constexpr double kGateLeaves = 0.25;  // of what it takes: pauses with the room in them, at most
constexpr double kSilence = -std::numeric_limits<double>::infinity();

double decibels_of_power(double power) { return power > 0.0 ? power_to_db(power, 0.0) : kSilence; }

double variance(double sum, double squares, std::int64_t count) {
  const double n = static_cast<double>(count);
  return count > 0 ? std::max(0.0, squares / n - (sum / n) * (sum / n)) : 0.0;
}

struct Sums {
  double sum{0.0};
  double squares{0.0};
  float peak{0.0F};
};

KILTER_WIDE Sums add_up(std::span<const float> frames) {
  Double4 sum{};
  Double4 squares{};
  Float4 peaks{};
  std::size_t i = 0;
  for (; i + 4 <= frames.size(); i += 4) {
    Float4 x{};
    load(&frames[i], x);
    const Float4 magnitude = x < 0.0F ? -x : x;
    peaks = peaks < magnitude ? magnitude : peaks;
    const Double4 exact = __builtin_convertvector(x, Double4);
    sum += exact;
    squares += exact * exact;
  }
  Sums all;
  const auto add = [&](double s, double q, float peak) {
    all.sum += s;
    all.squares += q;
    all.peak = std::max(all.peak, peak);
  };
  for (int lane = 0; lane < 4; ++lane) add(sum[lane], squares[lane], peaks[lane]);
  for (; i < frames.size(); ++i) {
    const auto x = static_cast<double>(frames[i]);
    add(x, x * x, std::fabs(frames[i]));
  }
  return all;
}

}  // namespace

bool is_silent(const Levels& levels) { return levels.peak_dbfs < -80.0; }

LevelMeter::LevelMeter(SampleRate rate)
    : rate_hz_(rate.hz),
      stretch_frames_(std::max<std::int64_t>(1, std::llround(rate.hz * kStretchS))),
      hum_(rate),
      zeros_(rate) {}

void LevelMeter::process(std::span<const float> frames) {
  hum_.process(frames);
  while (!frames.empty()) {
    const auto count =
        std::min(frames.size(), static_cast<std::size_t>(stretch_frames_ - in_stretch_));
    add_to_stretch(frames.first(count));
    frames = frames.subspan(count);
    if (in_stretch_ == stretch_frames_) end_stretch();
  }
}

void LevelMeter::add_to_stretch(std::span<const float> frames) {
  const Sums sums = add_up(frames);
  peak_ = std::max(peak_, sums.peak);
  stretch_peak_ = std::max(stretch_peak_, sums.peak);
  if (sums.peak >= kFullScale)
    count_clips(frames);
  else
    run_ = 0;
  stretch_sum_ += sums.sum;
  stretch_squares_ += sums.squares;
  frames_ += std::ssize(frames);
  in_stretch_ += std::ssize(frames);
}

void LevelMeter::count_clips(std::span<const float> frames) {
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const float x = frames[i];
    if (std::fabs(x) < kFullScale) {
      run_ = 0;
      continue;
    }
    run_ = run_ > 0 && x == run_value_ ? run_ + 1 : 1;
    run_value_ = x;
    if (run_ == kClipRunFrames) {
      const std::int64_t at = frames_ + static_cast<std::int64_t>(i);
      if (clipped_runs_ == 0) first_clip_ = at - (kClipRunFrames - 1);
      ++clipped_runs_;
      clipped_frames_ += kClipRunFrames;
    } else if (run_ > kClipRunFrames) {
      ++clipped_frames_;
    }
  }
}

void LevelMeter::watch_for_zeros(double power) {
  if (stretch_peak_ == 0.0F) {
    ++zero_stretches_;
    quiet_stretches_ = 0;
    return;
  }
  ++other_stretches_;
  const bool is_loud = power > kLoudPower;
  quiet_stretches_ = is_loud ? 0 : quiet_stretches_ + 1;
  if (quiet_stretches_ > kGateClosesIn) ++pause_stretches_;
  const std::int64_t lost = zero_stretches_ * stretch_frames_;
  if (lost > 0 && has_sounded_) {
    const ZeroRun run{{frames_ - stretch_frames_ - lost}, {lost}, loud_before_, is_loud};
    zeros_.add(run);
    lost_stretches_ += zero_stretches_;
    if (zero_runs_.size() < kMostZeroRuns) zero_runs_.push_back(run);
  }
  zero_stretches_ = 0;
  has_sounded_ = true;
  loud_before_ = is_loud;
}

/// A recorder that loses sound leaves the pauses between the words as they are.
bool LevelMeter::leaves_pauses() const {
  return static_cast<double>(pause_stretches_) >=
         kGateLeaves * static_cast<double>(lost_stretches_);
}

ZeroSum LevelMeter::dropouts() const {
  if (leaves_pauses()) return zeros_.dropouts();
  const std::int64_t all = lost_stretches_ + other_stretches_;
  const bool is_gated =
      std::ssize(zero_runs_) > kFewRuns &&
      static_cast<double>(lost_stretches_) > kGateTakes * static_cast<double>(all);
  // Few may be a gate's as well, where somebody hardly speaks: its openings are loud.
  return is_gated ? ZeroSum{} : zeros_.cut_off();
}

void LevelMeter::end_stretch() {
  const double power = variance(stretch_sum_, stretch_squares_, in_stretch_);
  watch_for_zeros(power);
  envelope_.add(stretch_peak_, power);
  stretch_peak_ = 0.0F;
  stretches_.add(decibels_of_power(power));
  sum_ += stretch_sum_;
  squares_ += stretch_squares_;
  stretch_sum_ = stretch_squares_ = 0.0;
  in_stretch_ = 0;
}

Envelope LevelMeter::envelope() const {
  return envelope_.envelope(static_cast<double>(stretch_frames_) / rate_hz_);
}

Levels LevelMeter::levels() const {
  Levels levels;
  const double sum = sum_ + stretch_sum_;
  const double squares = squares_ + stretch_squares_;
  levels.peak_dbfs = decibels_of_power(static_cast<double>(peak_) * static_cast<double>(peak_));
  levels.rms_dbfs = decibels_of_power(variance(sum, squares, frames_));
  levels.dc = frames_ > 0 ? sum / static_cast<double>(frames_) : 0.0;
  if (stretches_.count() > 0) {
    levels.level_dbfs = stretches_.percentile_db(0.95);
    levels.loudest_dbfs = stretches_.percentile_db(0.999);
    levels.floor_dbfs = stretches_.percentile_db(0.10);
    // Talk keeps within some 25 dB of its loudest, and above the room by as much as makes it clear.
    if (std::isfinite(levels.loudest_dbfs))  // in digital silence all would be as loud
      levels.talk_share = stretches_.share_above(
          std::max(levels.loudest_dbfs - kTalkRangeDb, levels.floor_dbfs + kTalkAboveFloorDb));
  } else {
    levels.level_dbfs = levels.loudest_dbfs = levels.floor_dbfs = levels.rms_dbfs;
  }
  levels.hum = hum_.hum();
  levels.clipped_runs = clipped_runs_;
  levels.clipped_frames = clipped_frames_;
  levels.first_clip = Frames{first_clip_};
  const ZeroSum zeros = dropouts();
  levels.dropouts = zeros.runs;
  levels.dropout_frames = zeros.frames;
  levels.first_dropout = zeros.first;
  return levels;
}

}  // namespace kilter::intake

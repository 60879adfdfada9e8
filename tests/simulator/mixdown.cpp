#include "mixdown.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "interpolator.h"
#include "random.h"

namespace kilter::simulator {
namespace {

double from_db(double db) { return std::pow(10.0, db / 20.0); }

/// One second-order section, direct form I.
struct Section {
  double b0, b1, b2, a1, a2;
  void run(std::span<float> samples) const {
    double x1 = 0.0, x2 = 0.0, y1 = 0.0, y2 = 0.0;
    for (float& sample : samples) {
      const double x = sample;
      const double y = b0 * x + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2;
      x2 = x1;
      x1 = x;
      y2 = y1;
      y1 = y;
      sample = static_cast<float>(y);
    }
  }
};

/// Bilinear transform of s^2 / (s^2 + sqrt(2) s + 1).
Section high_pass(double corner_hz) {
  const double k = std::tan(std::numbers::pi * corner_hz / kWorldRateHz);
  const double norm = 1.0 / (1.0 + std::numbers::sqrt2 * k + k * k);
  return {norm, -2.0 * norm, norm, 2.0 * (k * k - 1.0) * norm,
          (1.0 - std::numbers::sqrt2 * k + k * k) * norm};
}

/// Bilinear transform of (g s + r) / (s + r) with r = sqrt(g), which is symmetric about the corner:
/// gain 1 far below it, `gain_db` far above.
Section high_shelf(double corner_hz, double gain_db) {
  const double g = from_db(gain_db);
  const double r = std::sqrt(g) * std::tan(std::numbers::pi * corner_hz / kWorldRateHz);
  return {(g + r) / (1.0 + r), (r - g) / (1.0 + r), 0.0, (r - 1.0) / (1.0 + r), 0.0};
}

}  // namespace

void ride_gain(std::uint64_t seed, double range_db, std::span<float> samples) {
  if (range_db <= 0.0) return;
  constexpr std::size_t kStep = 64;  // the curve is straight between steps
  Random random{seed, 41};
  double from_db_now = random.between(-range_db, range_db);
  for (std::size_t at = 0; at < samples.size();) {
    const double to_db = random.between(-range_db, range_db);
    const int steps = static_cast<int>(random.between(2.0, 6.0) * kWorldRateHz / kStep);
    double gain = from_db(from_db_now);
    for (int step = 1; step <= steps && at < samples.size(); ++step) {
      const double way = static_cast<double>(step) / steps;
      const double smooth = way * way * (3.0 - 2.0 * way);
      const double goal = from_db(from_db_now + (to_db - from_db_now) * smooth);
      const double slope = (goal - gain) / kStep;
      for (std::size_t i = 0; i < kStep && at < samples.size(); ++i, ++at)
        samples[at] *= static_cast<float>(gain + slope * static_cast<double>(i));
      gain = goal;
    }
    from_db_now = to_db;
  }
}

void duck_pauses(const std::vector<Utterance>& talk, int person, double depth_db, double first_s,
                 std::span<float> samples) {
  if (depth_db >= 0.0) return;
  std::vector<char> speaks(samples.size(), 0);
  for (const Utterance& u : talk) {
    if (u.person != person) continue;
    const auto from = std::llround((u.line_from_s - first_s) * kWorldRateHz);
    const auto to = from + std::llround(u.length_s * kWorldRateHz);
    const auto size = static_cast<std::int64_t>(samples.size());
    for (std::int64_t i = std::clamp<std::int64_t>(from, 0, size);
         i < std::clamp<std::int64_t>(to, 0, size); ++i)
      speaks[static_cast<std::size_t>(i)] = 1;
  }
  const double floor = from_db(depth_db);
  const double up = 1.0 / (0.03 * kWorldRateHz);
  const double down = 1.0 / (0.4 * kWorldRateHz);
  double gain = floor;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    gain += speaks[i] != 0 ? up * (1.0 - gain) : down * (floor - gain);
    samples[i] *= static_cast<float>(gain);
  }
}

Result<double> send_through(const Stream& stream, std::uint64_t seed,
                            const std::vector<Utterance>& talk, int person,
                            std::vector<float>& samples) {
  if (stream.low_pass_hz > 0.0) samples = low_pass(samples, kWorldRateHz, stream.low_pass_hz);
  duck_pauses(talk, person, stream.gate_db, 0.0, samples);
  ride_gain(seed, stream.gain_riding_db, samples);
  if (stream.coding.codec == Codec::none) return 0.0;
  auto coded = code(samples, kWorldRateHz, stream.coding, CodedFile::not_wanted);
  if (!coded) return coded.error();
  samples = std::move(coded->samples);
  return coded->delay_s;
}

void filter_bus(std::span<float> samples) {
  high_pass(80.0).run(samples);
  high_shelf(4000.0, 2.0).run(samples);
}

}  // namespace kilter::simulator

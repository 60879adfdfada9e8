#include "kilter/signal/continuity.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

namespace kilter {
namespace {

constexpr std::size_t kSide = 12;  // frames on either side of the joint that are compared
constexpr std::size_t kShortest = 256;
constexpr double kMost_nats = 15.0;
constexpr double kSilence = 3e-5;  // rms; below is what 16 bits make of silence
// Keeps the equations solvable, and is how badly the model may fit what it was not made of.
constexpr double kRidge = 1e-5;

using Correlation = std::array<double, 2 * kSide>;

double sum_of(std::span<const float> sound) {
  double sum = 0.0;
  for (const float sample : sound) sum += sample;
  return sum;
}

/// Autocorrelation with a Hann window, so that a stretch's own ends leave no step in it.
Correlation correlation_of(std::span<const float> sound, double mean) {
  const std::size_t n = sound.size();
  std::vector<double> windowed(n);
  double weight = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    const double phase =
        2.0 * std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(n);
    const double window = 0.5 - 0.5 * std::cos(phase);
    windowed[i] = (sound[i] - mean) * window;
    weight += window * window;
  }
  Correlation result{};
  for (std::size_t lag = 0; lag < result.size(); ++lag) {
    for (std::size_t i = lag; i < n; ++i) result[lag] += windowed[i] * windowed[i - lag];
    result[lag] /= weight;
  }
  return result;
}

/// Logarithm of the Gaussian density of `x`, but for the constant that each frame adds; by
/// Levinson's recursion, which predicts every frame from those before it.
double log_density(std::span<const double> x, const Correlation& r) {
  std::vector<double> predictor;  // of the next frame, latest frame first
  double error = r[0];
  double sum = 0.0;
  for (std::size_t n = 0; n < x.size(); ++n) {
    double residual = x[n];
    for (std::size_t k = 0; k < n; ++k) residual -= predictor[k] * x[n - 1 - k];
    sum -= 0.5 * (std::log(error) + residual * residual / error);
    if (n + 1 == x.size()) break;
    double reflection = r[n + 1];
    for (std::size_t k = 0; k < n; ++k) reflection -= predictor[k] * r[n - k];
    reflection /= error;
    std::vector<double> next(n + 1);
    for (std::size_t k = 0; k < n; ++k) next[k] = predictor[k] - reflection * predictor[n - 1 - k];
    next[n] = reflection;
    predictor = std::move(next);
    error *= 1.0 - reflection * reflection;
  }
  return sum;
}

}  // namespace

double continuity_nats(std::span<const float> tail, std::span<const float> head) {
  if (tail.size() < kShortest || head.size() < kShortest) return 0.0;
  const double mean =
      (sum_of(tail) + sum_of(head)) / static_cast<double>(tail.size() + head.size());
  const Correlation before = correlation_of(tail, mean);
  const Correlation after = correlation_of(head, mean);
  if (before[0] < kSilence * kSilence || after[0] < kSilence * kSilence) return 0.0;
  Correlation r{};
  for (std::size_t lag = 0; lag < r.size(); ++lag) r[lag] = 0.5 * (before[lag] + after[lag]);
  r[0] *= 1.0 + kRidge;

  std::array<double, 2 * kSide> joint{};
  for (std::size_t i = 0; i < kSide; ++i) {
    joint[i] = tail[tail.size() - kSide + i] - mean;
    joint[kSide + i] = head[i] - mean;
  }
  const std::span<const double> both(joint);
  const double apart = log_density(both.first(kSide), r) + log_density(both.last(kSide), r);
  return std::clamp(log_density(both, r) - apart, -kMost_nats, kMost_nats);
}

}  // namespace kilter

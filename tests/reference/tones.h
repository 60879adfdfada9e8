// Sound that is known at every instant, and what of it is found in samples.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

namespace kilter::reference {

/// Sines of one amplitude, of any phases.
struct Tones {
  std::vector<double> frequencies_hz;
  double amplitude{0.5};  // of each

  double at(double time_s) const {
    double sum = 0.0;
    for (std::size_t i = 0; i < frequencies_hz.size(); ++i)
      sum += std::sin(2.0 * std::numbers::pi * frequencies_hz[i] * time_s + 0.3 +
                      2.399963 * static_cast<double>(i));
    return amplitude * sum;
  }
  double power() const {
    return 0.5 * amplitude * amplitude * static_cast<double>(frequencies_hz.size());
  }
  std::vector<float> sampled(double rate_hz, std::size_t frames) const {
    std::vector<float> samples(frames);
    for (std::size_t n = 0; n < frames; ++n)
      samples[n] = static_cast<float>(at(static_cast<double>(n) / rate_hz));
    return samples;
  }
};

inline double db_of_power(double ratio) { return 10.0 * std::log10(std::max(ratio, 1e-30)); }

/// How much of some sines, of any amplitudes and phases, is in samples taken at `times_s`, and the
/// rest: least squares, by the normal equations.
struct Fit {
  std::vector<double> amplitudes;  // of each frequency
  double rest_power{0.0};
};

inline Fit fit_sines(std::span<const float> samples, std::span<const double> times_s,
                     std::span<const double> frequencies_hz) {
  const std::size_t size = 2 * frequencies_hz.size();
  std::vector<std::vector<double>> equations(size, std::vector<double>(size + 1, 0.0));
  std::vector<double> basis(size);
  const auto put_basis = [&](double time_s) {
    for (std::size_t f = 0; f < frequencies_hz.size(); ++f) {
      // Whole turns are taken off first: they cost digits.
      const double turns = std::fmod(frequencies_hz[f] * time_s, 1.0);
      basis[2 * f] = std::cos(2.0 * std::numbers::pi * turns);
      basis[2 * f + 1] = std::sin(2.0 * std::numbers::pi * turns);
    }
  };
  for (std::size_t n = 0; n < samples.size(); ++n) {
    put_basis(times_s[n]);
    for (std::size_t i = 0; i < size; ++i) {
      for (std::size_t j = 0; j < size; ++j) equations[i][j] += basis[i] * basis[j];
      equations[i][size] += basis[i] * static_cast<double>(samples[n]);
    }
  }
  for (std::size_t i = 0; i < size; ++i)
    for (std::size_t row = 0; row < size; ++row) {
      if (row == i) continue;
      const double factor = equations[row][i] / equations[i][i];
      for (std::size_t j = i; j <= size; ++j) equations[row][j] -= factor * equations[i][j];
    }
  std::vector<double> weights(size);
  for (std::size_t i = 0; i < size; ++i) weights[i] = equations[i][size] / equations[i][i];
  Fit fit;
  for (std::size_t f = 0; f < frequencies_hz.size(); ++f)
    fit.amplitudes.push_back(std::hypot(weights[2 * f], weights[2 * f + 1]));
  for (std::size_t n = 0; n < samples.size(); ++n) {
    put_basis(times_s[n]);
    double rest = static_cast<double>(samples[n]);
    for (std::size_t i = 0; i < size; ++i) rest -= weights[i] * basis[i];
    fit.rest_power += rest * rest;
  }
  fit.rest_power /= static_cast<double>(samples.size());
  return fit;
}

}  // namespace kilter::reference

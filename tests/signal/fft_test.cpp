#include "kilter/signal/fft.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace kilter {
namespace {

FftVector<float> some_signal(int size) {
  FftVector<float> x(static_cast<std::size_t>(size));
  for (int i = 0; i < size; ++i)
    x[static_cast<std::size_t>(i)] =
        static_cast<float>(std::sin(0.3 * i) + 0.5 * std::cos(1.7 * i * i / size));
  return x;
}

TEST(RealFft, AgreesWithTheDefinition) {
  constexpr int kSize = 64;
  const RealFft fft(kSize);
  const auto x = some_signal(kSize);
  FftVector<std::complex<float>> bins(static_cast<std::size_t>(fft.bins()));
  fft.forward(x, bins);
  for (int k = 0; k < fft.bins(); ++k) {
    std::complex<double> sum;
    for (int n = 0; n < kSize; ++n)
      sum += static_cast<double>(x[static_cast<std::size_t>(n)]) *
             std::polar(1.0, -2.0 * std::numbers::pi * k * n / kSize);
    EXPECT_NEAR(std::abs(sum - std::complex<double>(bins[static_cast<std::size_t>(k)])), 0.0, 1e-4);
  }
}

TEST(RealFft, InverseOfForwardMultipliesBySize) {
  constexpr int kSize = 4096;
  const RealFft fft(kSize);
  const auto x = some_signal(kSize);
  FftVector<std::complex<float>> bins(static_cast<std::size_t>(fft.bins()));
  FftVector<float> back(kSize);
  fft.forward(x, bins);
  fft.inverse(bins, back);
  for (std::size_t i = 0; i < kSize; ++i) EXPECT_NEAR(back[i] / kSize, x[i], 1e-5F);
}

TEST(HannWindow, AddsUpToAConstantAtHalfOverlap) {
  const auto window = hann_window(256);
  for (std::size_t i = 0; i < 128; ++i) EXPECT_NEAR(window[i] + window[i + 128], 1.0F, 1e-6F);
}

TEST(Kaiser, IsOneInTheMiddleAndNothingOutside) {
  EXPECT_DOUBLE_EQ(kaiser(0.0, 8.0), 1.0);
  EXPECT_EQ(kaiser(1.01, 8.0), 0.0);
  EXPECT_NEAR(bessel_i0(1.0), 1.2660658777520084, 1e-14);
}

}  // namespace
}  // namespace kilter

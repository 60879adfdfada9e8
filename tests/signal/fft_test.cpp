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
  // Sizes whose half is odd, and that end in and between whole lanes.
  for (const int size : {2, 4, 6, 8, 10, 16, 18, 20, 22, 24, 34, 64, 400}) {
    const RealFft fft(size);
    const auto x = some_signal(size);
    FftVector<std::complex<float>> bins(static_cast<std::size_t>(fft.bins()));
    fft.forward(x, bins);
    for (int k = 0; k < fft.bins(); ++k) {
      std::complex<double> sum;
      for (int n = 0; n < size; ++n)
        sum += static_cast<double>(x[static_cast<std::size_t>(n)]) *
               std::polar(1.0, -2.0 * std::numbers::pi * k * n / size);
      EXPECT_NEAR(std::abs(sum - std::complex<double>(bins[static_cast<std::size_t>(k)])), 0.0,
                  2e-6 * size)
          << size;
    }
  }
}

TEST(RealFft, InverseOfForwardMultipliesBySize) {
  for (const int size : {2, 4, 6, 10, 22, 400, 4096}) {
    const RealFft fft(size);
    const auto x = some_signal(size);
    FftVector<std::complex<float>> bins(static_cast<std::size_t>(fft.bins()));
    FftVector<float> back(static_cast<std::size_t>(size));
    fft.forward(x, bins);
    fft.inverse(bins, back);
    for (std::size_t i = 0; i < back.size(); ++i)
      EXPECT_NEAR(back[i] / static_cast<float>(size), x[i], 1e-5F) << size;
  }
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

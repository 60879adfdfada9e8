// Loops over the bins of a spectrum, and over samples, that all measurements share.
#pragma once

#include <complex>
#include <span>

namespace kilter::sync {

/// Complex values, split so that loops vectorise. Both parts have one length.
struct Split {
  std::span<float> re;
  std::span<float> im;
};
struct ConstSplit {
  ConstSplit(std::span<const float> real, std::span<const float> imaginary)
      : re(real), im(imaginary) {}
  ConstSplit(const Split& other) : re(other.re), im(other.im) {}  // NOLINT: as spans do
  std::span<const float> re;
  std::span<const float> im;
};

/// out = a * b; lengths are those of `out`.
void multiply(const float* a, std::span<const float> b, std::span<float> out);
double sum_of_squares(std::span<const float> values);
/// out = frame * window, a multiple of 8; the result is the frame's sum of squares.
double window_frame(const float* frame, std::span<const float> window, std::span<float> out);
/// Takes interleaved values apart.
void split(const std::complex<float>* values, const Split& out);
/// Turns value b by `first + b * step` radians. `out` may be the values themselves.
void turn(const ConstSplit& values, double first, double step, const Split& out);
/// sum += conj(a) * b
void add_cross(const ConstSplit& a, const ConstSplit& b, const Split& sum);
/// sum += share * a * b
void add_product(const ConstSplit& a, const ConstSplit& b, float share, const Split& sum);
/// sum += |a|^2
void add_power(const ConstSplit& a, std::span<float> sum);
/// add_cross and add_power of many spectra in their order, for the bins `from` to `to` only: a sum
/// is fetched once, and a few bins of all tracks' frames stay near the processor.
void add_crosses(std::span<const ConstSplit> a, std::span<const ConstSplit> b, std::size_t from,
                 std::size_t to, const Split& sum);
void add_powers(std::span<const ConstSplit> a, std::size_t from, std::size_t to,
                std::span<float> sum);

}  // namespace kilter::sync

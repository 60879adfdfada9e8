// The one seam between the program and its FFT library.
#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <new>
#include <span>
#include <vector>

namespace kilter {

/// Puts a vector's memory where the transform's vector instructions want it.
template <typename T>
struct FftAllocator {
  using value_type = T;
  static constexpr std::align_val_t kAlignment{64};
  FftAllocator() = default;
  template <typename U>
  FftAllocator(const FftAllocator<U>&) {}  // NOLINT: allocators convert
  T* allocate(std::size_t n) { return static_cast<T*>(::operator new(n * sizeof(T), kAlignment)); }
  void deallocate(T* p, std::size_t) { ::operator delete(p, kAlignment); }
  template <typename U>
  bool operator==(const FftAllocator<U>&) const {
    return true;
  }
};

template <typename T>
using FftVector = std::vector<T, FftAllocator<T>>;

/// Transforms between `size` real values and `size / 2 + 1` complex bins, unnormalised: inverse of
/// forward multiplies by `size`. Immutable once made: one object serves many threads, each with its
/// own buffers. Making one locks out other makers; the plan is chosen without timing, so that every
/// run computes the same bits.
class RealFft {
 public:
  /// `size` even, at least 2.
  explicit RealFft(int size);
  ~RealFft();
  RealFft(const RealFft&) = delete;
  RealFft& operator=(const RealFft&) = delete;

  int size() const { return size_; }
  int bins() const { return size_ / 2 + 1; }

  /// `in` size() values, kept; `out` bins() values.
  void forward(const FftVector<float>& in, FftVector<std::complex<float>>& out) const;
  /// `in` bins() values, overwritten; `out` size() values.
  void inverse(FftVector<std::complex<float>>& in, FftVector<float>& out) const;

 private:
  struct Plans;
  int size_;
  std::vector<std::complex<float>> turns_;
  std::unique_ptr<Plans> plans_;
};

/// A raised cosine over `size` values that adds up to a constant at half overlap (periodic Hann).
std::vector<float> hann_window(int size);

/// Zeroth-order modified Bessel function of the first kind, by its series; for Kaiser windows.
double bessel_i0(double x);

/// Kaiser window at `x` in [-1, 1] (0 in the middle); 0 outside.
double kaiser(double x, double beta);

/// Kaiser's shape parameter for a stop band `attenuation_db` down (Kaiser 1974), above 50 dB.
constexpr double kaiser_beta(double attenuation_db) { return 0.1102 * (attenuation_db - 8.7); }

}  // namespace kilter

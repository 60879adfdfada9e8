#include "kilter/signal/onset_features.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstring>
#include <memory>
#include <span>
#include <vector>

#include "kilter/base/wide_loops.h"
#include "kilter/signal/fft.h"

namespace kilter {
namespace {

constexpr int kFft = 512;
constexpr int kWindow = kAnalysisRateHz / 40;  // 25 ms
constexpr int kHop = kAnalysisRateHz / kFeatureRateHz;
constexpr int kBlockFrames = 1000;
constexpr double kBound = 4.0;            // standard deviations
constexpr double kLeastFloor = 1e-30;     // 300 dB down, and a float still holds its inverse
constexpr double kFloorBelowMean = 1e-4;  // what lies 40 dB below the band's mean counts as silence

double mel(double hz) { return std::log1p(hz / 700.0); }
double hz_of_mel(double m) { return 700.0 * std::expm1(m); }

/// First bin of each band, and one past the last.
std::array<int, kFeatureBands + 1> band_edges() {
  std::array<int, kFeatureBands + 1> edges{};
  const double low = mel(100.0);
  const double high = mel(4000.0);
  for (int i = 0; i <= kFeatureBands; ++i) {
    const double hz = hz_of_mel(low + (high - low) * i / kFeatureBands);
    edges[static_cast<std::size_t>(i)] =
        static_cast<int>(std::lround(hz * kFft / static_cast<double>(kAnalysisRateHz)));
  }
  return edges;
}

/// Powers of the bins of each band, in four sums that do not wait for each other.
KILTER_WIDE void band_energies(const std::complex<float>* bins,
                               const std::array<int, kFeatureBands + 1>& edges,
                               std::array<float, kFeatureBands>& energies) {
  std::array<float, kFft / 2> power;
  const auto* const values = reinterpret_cast<const float*>(bins);
  const auto last = static_cast<std::size_t>(edges.back());
  for (std::size_t i = 0; i < last; ++i)
    power[i] = values[2 * i] * values[2 * i] + values[2 * i + 1] * values[2 * i + 1];
  for (std::size_t band = 0; band < kFeatureBands; ++band) {
    Float4 sums{}, four{};
    auto i = static_cast<std::size_t>(edges[band]);
    const auto end = static_cast<std::size_t>(edges[band + 1]);
    for (; i + 4 <= end; i += 4) {
      load(&power[i], four);
      sums += four;
    }
    float sum = (sums[0] + sums[1]) + (sums[2] + sums[3]);
    for (; i < end; ++i) sum += power[i];
    energies[band] = sum;
  }
}

KILTER_WIDE void multiply(const float* a, const std::vector<float>& b, float* out) {
  const float* const x = b.data();
  for (std::size_t i = 0; i < static_cast<std::size_t>(kWindow); ++i) out[i] = a[i] * x[i];
}

/// Natural logarithms of numbers from 1 on, to 2e-6: of 2^e m as e ln 2 + 2 artanh s with
/// s = (m - 1) / (m + 1), by artanh's series. `count` a multiple of 8.
KILTER_WIDE void take_logarithms(float* values, std::size_t count) {
  using Int8 = std::int32_t __attribute__((vector_size(32)));
  constexpr std::int32_t kSqrtHalf = 0x3F3504F3;  // where m begins
  constexpr float kLn2 = 0.69314718F;
  for (std::size_t i = 0; i < count; i += 8) {
    Int8 bits{};
    std::memcpy(&bits, values + i, sizeof bits);
    const Int8 exponent = (bits - kSqrtHalf) >> 23;
    bits -= exponent << 23;
    Float8 m{};
    std::memcpy(&m, &bits, sizeof m);
    const Float8 s = (m - 1.0F) / (m + 1.0F);
    const Float8 q = s * s;
    const Float8 series =
        ((((2.0F / 9.0F) * q + 2.0F / 7.0F) * q + 2.0F / 5.0F) * q + 2.0F / 3.0F) * q + 2.0F;
    store(__builtin_convertvector(exponent, Float8) * kLn2 + s * series, values + i);
  }
}

struct RiseSums {
  double rises{0.0};
  double squares{0.0};
};

/// What values rise by against the one before them, in their place; `before` is the one before the
/// first, then the last.
KILTER_WIDE RiseSums values_to_rises(float* values, std::size_t count, float& before) {
  RiseSums sums;
  for (std::size_t i = 0; i < count; ++i) {
    const float now = values[i];
    const float rise = now > before ? now - before : 0.0F;
    before = now;
    values[i] = rise;
    sums.rises += static_cast<double>(rise);
    sums.squares += static_cast<double>(rise) * static_cast<double>(rise);
  }
  return sums;
}

KILTER_WIDE void put_over_floor(float* energies, std::size_t count, float inverse_floor) {
  for (std::size_t i = 0; i < count; ++i) energies[i] = 1.0F + energies[i] * inverse_floor;
}

/// Rises in bounded standard deviations, to the nearest step.
KILTER_WIDE void store_steps(const float* from, std::size_t count, double mean, double deviation,
                             std::int8_t* to) {
  const auto middle = static_cast<float>(mean);
  const auto steps = static_cast<float>(kFeatureSteps / deviation);
  constexpr auto kMost = static_cast<float>(kBound * kFeatureSteps);
  for (std::size_t i = 0; i < count; ++i) {
    const float step = (from[i] - middle) * steps;
    const float low = step < -kMost ? -kMost : step;
    const float bounded = low > kMost ? kMost : low;
    to[i] = static_cast<std::int8_t>(
        static_cast<std::int32_t>(bounded + (bounded < 0.0F ? -0.5F : 0.5F)));
  }
}

/// Values of all bands over a signal: blocks of frames, in each of them band after band. In memory
/// or, where they are many and there is one, in a store.
class BandValues {
 public:
  /// Of a block.
  struct Block {
    std::int64_t first;
    std::int64_t count;
    float* values;

    float* of(std::size_t band) const { return values + band * kBlockFrames; }
  };

  static Result<BandValues> make(std::int64_t frames, const OpenByteStore& open_store,
                                 std::vector<float>& values) {
    BandValues made(frames, values);
    const std::int64_t all = (frames + kBlockFrames - 1) / kBlockFrames * kBlockValues;
    if (open_store && all > kMostInMemory) {
      auto store = open_store();
      if (!store) return store.error();
      made.store_ = *std::move(store);
    }
    const auto least = static_cast<std::size_t>(made.store_ ? kBlockValues : all);
    if (values.size() < least) values.resize(least);
    return made;
  }

  std::int64_t frames() const { return frames_; }
  /// `work(block)` for one after the other, with nothing of sense in them, kept afterwards.
  template <typename Work>
  Result<void> fill(const Work& work) {
    return each(false, true, work);
  }
  /// With what was kept.
  template <typename Work>
  Result<void> change(const Work& work) {
    return each(true, true, work);
  }
  template <typename Work>
  Result<void> read(const Work& work) {
    return each(true, false, work);
  }

 private:
  static constexpr std::int64_t kBlockValues = std::int64_t{kBlockFrames} * kFeatureBands;
  static constexpr std::int64_t kMostInMemory = 1 << 22;  // of an hour and a half

  BandValues(std::int64_t frames, std::vector<float>& values) : frames_(frames), values_(values) {}

  template <typename Work>
  Result<void> each(bool fetch, bool keep, const Work& work) {
    for (std::int64_t first = 0; first < frames_; first += kBlockFrames) {
      const std::int64_t start = first / kBlockFrames * kBlockValues;
      const auto place = start * static_cast<std::int64_t>(sizeof(float));
      if (store_ && fetch)
        if (auto read = store_->read(place, std::as_writable_bytes(block_of(0))); !read)
          return read;
      const Block block{first, std::min<std::int64_t>(kBlockFrames, frames_ - first),
                        block_of(store_ ? 0 : start).data()};
      if (Result<void> done = work(block); !done) return done;
      if (store_ && keep)
        if (auto kept = store_->write(place, std::as_bytes(block_of(0))); !kept) return kept;
    }
    return {};
  }

  std::span<float> block_of(std::int64_t start) {
    return std::span(values_).subspan(static_cast<std::size_t>(start), kBlockValues);
  }

  std::int64_t frames_;
  std::unique_ptr<ByteStore> store_;
  std::vector<float>& values_;  // all, or with a store those of a block; there may be more
};

/// What has been found of a band: sums, and what follows from them.
struct Band {
  double energy{0.0};
  double floor{0.0};
  float before{0.0F};  // logarithm of the latest energy over the floor
  double rise{0.0};
  double squared_rise{0.0};
};
using Bands = std::array<Band, kFeatureBands>;

Result<void> measure_energies(const AnalysisSignal& signal, const std::atomic<bool>* stop,
                              BandValues& energies, Bands& bands) {
  const RealFft fft(kFft);
  const std::vector<float> window = hann_window(kWindow);
  const auto edges = band_edges();
  FftVector<float> frame(kFft, 0.0F);
  FftVector<std::complex<float>> bins(static_cast<std::size_t>(fft.bins()));
  std::vector<float> sound(static_cast<std::size_t>(kBlockFrames * kHop + kWindow));
  std::array<float, kFeatureBands> here{};
  return energies.fill([&](const BandValues::Block& block) -> Result<void> {
    if (stop != nullptr && stop->load())
      return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    if (auto read = signal.read(block.first * kHop - kWindow / 2, sound); !read) return read;
    for (std::int64_t i = 0; i < block.count; ++i) {
      multiply(sound.data() + i * kHop, window, frame.data());
      fft.forward(frame, bins);
      band_energies(bins.data(), edges, here);
      for (std::size_t band = 0; band < kFeatureBands; ++band) {
        block.of(band)[i] = here[band];
        bands[band].energy += static_cast<double>(here[band]);
      }
    }
    return {};
  });
}

/// Puts the rises of their logarithms in the energies' place; none where all is digital silence.
Result<void> energies_to_rises(BandValues& values, Bands& bands) {
  for (Band& band : bands) {
    band.floor =
        kFloorBelowMean * (band.energy / std::max(1.0, static_cast<double>(values.frames())));
    if (band.floor < kLeastFloor) band.floor = 0.0;
  }
  return values.change([&](const BandValues::Block& block) -> Result<void> {
    for (std::size_t at = 0; at < kFeatureBands; ++at) {
      Band& band = bands[at];
      if (band.floor <= 0.0) continue;
      float* const row = block.of(at);
      const auto count = static_cast<std::size_t>(block.count);
      put_over_floor(row, kBlockFrames, static_cast<float>(1.0 / band.floor));
      take_logarithms(row, kBlockFrames);
      if (block.first == 0) band.before = row[0];
      const RiseSums sums = values_to_rises(row, count, band.before);
      band.rise += sums.rises;
      band.squared_rise += sums.squares;
    }
    return {};
  });
}

}  // namespace

Result<OnsetFeatures> onset_features(const AnalysisSignal& signal, const std::atomic<bool>* stop,
                                     const OpenByteStore& open_store, OnsetRoom* room) {
  OnsetRoom own;
  auto values =
      BandValues::make(signal.frames() / kHop, open_store, (room != nullptr ? room : &own)->values);
  if (!values) return values.error();
  Bands bands{};
  if (auto done = measure_energies(signal, stop, *values, bands); !done) return done.error();
  if (auto done = energies_to_rises(*values, bands); !done) return done.error();
  OnsetFeatures features;
  for (auto& band : features.bands) band.assign(static_cast<std::size_t>(values->frames()), 0);
  const auto n = static_cast<double>(values->frames());
  auto done = values->read([&](const BandValues::Block& block) -> Result<void> {
    for (std::size_t at = 0; at < kFeatureBands; ++at) {
      const double mean = bands[at].rise / n;
      const double deviation = std::sqrt(std::max(0.0, bands[at].squared_rise / n - mean * mean));
      if (bands[at].floor > 0.0 && deviation > 0.0)
        store_steps(block.of(at), static_cast<std::size_t>(block.count), mean, deviation,
                    features.bands[at].data() + block.first);
    }
    return {};
  });
  if (!done) return done.error();
  return features;
}

}  // namespace kilter

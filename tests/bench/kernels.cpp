// The inner loops, one thread each: nanoseconds, and frames or transforms a second.
#include <benchmark/benchmark.h>

#include <cstdint>
#include <memory>
#include <vector>

#include "kilter/base/time_map.h"
#include "kilter/signal/fft.h"
#include "kilter/signal/rate_reducer.h"
#include "kilter/signal/resampler.h"
#include "kilter/signal/sample_digest.h"
#include "support/sound_files.h"

namespace {

using namespace kilter;

constexpr std::size_t kSecond = 48000;

/// From the rate in hertz to the analysis signal's.
void reduce(benchmark::State& state) {
  const SampleRate rate{static_cast<double>(state.range(0))};
  const auto filter = std::make_shared<const ReducerFilter>(rate);
  const auto input = test::noise(kSecond, 0.5F, 1);
  RateReducer reducer(filter);
  std::vector<float> out;
  for (auto _ : state) {
    out.clear();
    reducer.process(input, out);
    benchmark::DoNotOptimize(out.data());
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(input.size()));
}
BENCHMARK(reduce)->ArgName("Hz")->Arg(48000)->Arg(44100)->Arg(96000)->Arg(32000);

/// There and back, of a window of so many samples.
void transform(benchmark::State& state) {
  const int size = static_cast<int>(state.range(0));
  const RealFft fft(size);
  const auto samples = test::noise(static_cast<std::size_t>(size), 0.5F, 1);
  FftVector<float> in(samples.begin(), samples.end());
  FftVector<std::complex<float>> bins(static_cast<std::size_t>(fft.bins()));
  for (auto _ : state) {
    fft.forward(in, bins);
    fft.inverse(bins, in);
    for (float& x : in) x /= static_cast<float>(size);  // else it grows beyond all bounds
    benchmark::DoNotOptimize(in.data());
  }
  state.SetItemsProcessed(state.iterations() * size);
}
BENCHMARK(transform)->ArgName("size")->RangeMultiplier(4)->Range(256, 65536);

/// Output frames of a track that drifts, from one rate to another.
void resample(benchmark::State& state) {
  const SampleRate from{static_cast<double>(state.range(0))};
  const SampleRate to{static_cast<double>(state.range(1))};
  const double drift_ppm = static_cast<double>(state.range(2));
  const auto track = test::noise(kSecond, 0.5F, 1);
  std::size_t at = 0;
  constexpr double kLong_s = 1e6;
  MapResampler resampler(*TimeMap::line(0.0, drift_ppm, kLong_s, 1.0), from, to, 0.0,
                         [&](std::span<float> wanted) {
                           for (float& x : wanted) x = track[at++ % track.size()];
                           return Result<std::int64_t>(std::ssize(wanted));
                         });
  std::vector<float> out(16384);
  for (auto _ : state) {
    if (!resampler.read(out)) state.SkipWithError("the resampler failed");
    benchmark::DoNotOptimize(out.data());
  }
  state.SetItemsProcessed(state.iterations() * std::ssize(out));
}
BENCHMARK(resample)
    ->ArgNames({"from", "to", "ppm"})
    ->Args({48000, 48000, 0})
    ->Args({48000, 48000, 20})
    ->Args({44100, 48000, 20})
    ->Args({48000, 44100, 20})
    ->Args({96000, 48000, 20});

void digest(benchmark::State& state) {
  const auto samples = test::noise(1U << 18U, 0.5F, 1);
  SampleDigest digest;
  for (auto _ : state) digest.process(samples);
  benchmark::DoNotOptimize(digest.value());
  state.SetItemsProcessed(state.iterations() * std::ssize(samples));
}
BENCHMARK(digest);

}  // namespace

BENCHMARK_MAIN();

#include "joint_frames.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "wide_bands.h"

namespace kilter::sync {
namespace {

constexpr double kRidge = 1e-3;  // of each track's own power
constexpr std::int64_t kBlockFrames = 1 << 16;
constexpr std::size_t kMostBlocks = 64;
constexpr std::size_t kTogether = 8;     // frames added at once
constexpr std::size_t kBlockBins = 128;  // of so many tracks' frames that they stay in the cache

using Complex = std::complex<double>;

/// Sum over bin `b` and `pool` bins to both sides.
Complex at(const BandSpectrum& spectrum, std::size_t b, std::size_t pool) {
  Complex sum;
  const std::size_t end = std::min(spectrum.re.size(), b + pool + 1);
  for (std::size_t i = b < pool ? 0 : b - pool; i < end; ++i)
    sum += Complex(static_cast<double>(spectrum.re[i]), static_cast<double>(spectrum.im[i]));
  return sum;
}

/// Solves the Hermitian system in place by Cholesky's factors; `a` row-major, lower triangle. False
/// when singular.
bool solve_hermitian(std::vector<Complex>& a, std::vector<Complex>& x) {
  const std::size_t n = x.size();
  for (std::size_t j = 0; j < n; ++j) {
    double diagonal = a[j * n + j].real();
    for (std::size_t k = 0; k < j; ++k) diagonal -= std::norm(a[j * n + k]);
    if (!(diagonal > 0.0)) return false;
    const double root = std::sqrt(diagonal);
    a[j * n + j] = root;
    for (std::size_t i = j + 1; i < n; ++i) {
      Complex sum = a[i * n + j];
      for (std::size_t k = 0; k < j; ++k) sum -= a[i * n + k] * std::conj(a[j * n + k]);
      a[i * n + j] = sum / root;
    }
  }
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t k = 0; k < i; ++k) x[i] -= a[i * n + k] * x[k];
    x[i] /= a[i * n + i].real();
  }
  for (std::size_t i = n; i-- > 0;) {
    for (std::size_t k = i + 1; k < n; ++k) x[i] -= std::conj(a[k * n + i]) * x[k];
    x[i] /= a[i * n + i].real();
  }
  return true;
}

}  // namespace

FrameTaker::FrameTaker(int frame, double from_hz, double to_hz)
    : fft_(frame),
      first_bin_(static_cast<std::size_t>(from_hz * frame / kAnalysisRateHz) + 1),
      bins_(static_cast<std::size_t>(to_hz * frame / kAnalysisRateHz) + 1 - first_bin_),
      window_(hann_window(frame)),
      buffer_(static_cast<std::size_t>(frame)),
      spectrum_(static_cast<std::size_t>(fft_.bins())) {}

FrameTaker::Block& FrameTaker::block_of(const AnalysisSignal& signal) {
  for (Block& block : blocks_)
    if (block.signal == &signal) return block;
  if (blocks_.size() < kMostBlocks) return blocks_.emplace_back();
  return blocks_[next_block_++ % blocks_.size()];
}

Result<const float*> FrameTaker::samples(const AnalysisSignal& signal, std::int64_t first) {
  const std::int64_t end = first + frame();
  for (const Block& block : blocks_)
    if (block.signal == &signal && first >= block.first &&
        end <= block.first + std::ssize(block.samples))
      return block.samples.data() + (first - block.first);
  Block& block = block_of(signal);
  // Frames that follow each other are read further and further ahead, lone ones by themselves.
  const bool goes_on = block.signal == &signal && first >= block.first &&
                       first <= block.first + std::ssize(block.samples);
  block.ahead = goes_on ? std::clamp<std::int64_t>(4 * block.ahead, frame(), kBlockFrames) : 0;
  block.signal = &signal;
  block.first = goes_on ? first - frame() : first;  // the next frame may lie a little before
  block.samples.resize(static_cast<std::size_t>(end - block.first + block.ahead));
  if (auto read = signal.read(block.first, block.samples); !read) {
    block.signal = nullptr;
    return read.error();
  }
  return block.samples.data() + (first - block.first);
}

Result<void> FrameTaker::take(const AnalysisSignal& signal, std::int64_t centre,
                              BandSpectrum& out) {
  const auto from = samples(signal, centre - frame() / 2);
  if (!from) return from.error();
  const float* sound = *from;
  multiply(sound, window_, buffer_);
  fft_.forward(buffer_, spectrum_);
  out.resize(bins_);
  split(&spectrum_[first_bin_], out.split());
  return {};
}

Result<bool> FrameTaker::take(const MappedTrack& track, double line_s, BandSpectrum& out) {
  const auto track_s = track.map->to_track(line_s);
  if (!track_s) {
    out.resize(bins_);
    out.clear();
    return false;
  }
  const double place = *track_s * kAnalysisRateHz;
  const auto whole = static_cast<std::int64_t>(std::llround(place));
  if (auto taken = take(*track.signal, whole, out); !taken) return taken.error();
  const double step = 2.0 * std::numbers::pi * (place - static_cast<double>(whole)) / frame();
  turn(out.split(), step * static_cast<double>(first_bin_), step, out.split());
  return true;
}

void JointFit::reset(std::size_t tracks) {
  tracks_ = tracks;
  matrix_.resize(std::max(matrix_.size(), tracks * (tracks + 1) / 2));
  cross_.resize(std::max(cross_.size(), tracks));
  filters_.resize(std::max(filters_.size(), tracks));
  for (auto* set : {&matrix_, &cross_, &filters_})
    for (BandSpectrum& spectrum : *set) {
      spectrum.resize(bins_);
      spectrum.clear();
    }
}

void JointFit::add(std::span<const BandSpectrum> tracks, const BandSpectrum& target) {
  for (std::size_t i = 0; i < tracks_; ++i) {
    add_cross(tracks[i].split(), target.split(), cross_[i].split());
    for (std::size_t j = 0; j <= i; ++j)
      add_cross(tracks[i].split(), tracks[j].split(), matrix_[i * (i + 1) / 2 + j].split());
  }
}

void JointFit::add_all(std::span<const BandSpectrum> tracks,
                       std::span<const BandSpectrum> targets) {
  std::vector<std::vector<ConstSplit>> of_track(tracks_);
  std::vector<ConstSplit> of_target;
  for (std::size_t first = 0; first < targets.size(); first += kTogether) {
    const std::size_t end = std::min(targets.size(), first + kTogether);
    of_target.clear();
    for (auto& frames : of_track) frames.clear();
    for (std::size_t f = first; f < end; ++f) {
      of_target.push_back(targets[f].split());
      for (std::size_t i = 0; i < tracks_; ++i)
        of_track[i].push_back(tracks[f * tracks_ + i].split());
    }
    for (std::size_t from = 0; from < bins_; from += kBlockBins) {
      const std::size_t to = std::min(bins_, from + kBlockBins);
      for (std::size_t i = 0; i < tracks_; ++i) {
        const std::size_t row = i * (i + 1) / 2;
        add_crosses(of_track[i], of_target, from, to, cross_[i].split());
        for (std::size_t j = 0; j < i; ++j)
          add_crosses(of_track[i], of_track[j], from, to, matrix_[row + j].split());
        add_powers(of_track[i], from, to, matrix_[row + i].re);
      }
    }
  }
}

void JointFit::solve(std::size_t pool) {
  std::vector<Complex> matrix;
  std::vector<Complex> x;
  std::vector<std::size_t> live;
  for (std::size_t b = 0; b < bins_; ++b) {
    live.clear();
    for (std::size_t i = 0; i < tracks_; ++i) {
      filters_[i].re[b] = filters_[i].im[b] = 0.0F;
      if (at(matrix_[i * (i + 1) / 2 + i], b, pool).real() > 0.0) live.push_back(i);
    }
    const std::size_t n = live.size();
    matrix.resize(n * n);
    x.resize(n);
    for (std::size_t i = 0; i < n; ++i) {
      const std::size_t row = live[i];
      for (std::size_t j = 0; j <= i; ++j)
        matrix[i * n + j] = at(matrix_[row * (row + 1) / 2 + live[j]], b, pool);
      matrix[i * n + i] *= 1.0 + kRidge;
      x[i] = at(cross_[row], b, pool);
    }
    if (!solve_hermitian(matrix, x)) continue;
    for (std::size_t i = 0; i < n; ++i) {
      filters_[live[i]].re[b] = static_cast<float>(x[i].real());
      filters_[live[i]].im[b] = static_cast<float>(x[i].imag());
    }
  }
}

void JointFit::put_back(std::size_t track, const BandSpectrum& sound, BandSpectrum& out) const {
  add_product(filters_[track].split(), sound.split(), 1.0F, out.split());
}

void JointFit::residual(std::span<const BandSpectrum> tracks, const BandSpectrum& target,
                        BandSpectrum& out) const {
  if (&out != &target) out = target;
  for (std::size_t i = 0; i < tracks_; ++i)
    add_product(filters_[i].split(), tracks[i].split(), -1.0F, out.split());
}

std::optional<TimeMap> on_clock_of(const TimeMap& other, const TimeMap& track, double line_s,
                                   double reach_s, double late_s) {
  const auto other_s = other.to_track(line_s);
  const auto track_s = track.to_track(line_s - late_s);
  if (!other_s || !track_s) return std::nullopt;
  const auto rate_at = [](const TimeMap& map, double track_time_s) {
    for (const Span& span : map.spans())
      if (track_time_s <= span.to_s) return span.rate();
    return map.spans().back().rate();
  };
  const double rate = rate_at(track, *track_s) / rate_at(other, *other_s);
  auto made = TimeMap::make({{*track_s - reach_s, *track_s + reach_s, *other_s - reach_s * rate,
                              *other_s + reach_s * rate, 0.0}});
  if (!made) return std::nullopt;
  return *std::move(made);
}

}  // namespace kilter::sync

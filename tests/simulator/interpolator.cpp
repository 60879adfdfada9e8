#include "interpolator.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <map>
#include <mutex>
#include <numbers>

#include "kilter/base/wide_loops.h"

namespace kilter::simulator {
namespace {

constexpr int kRows = 2048;
constexpr int kLanes = 8;
constexpr double kBeta = 13.6;        // side lobes 132 dB down
constexpr double kHalfLength = 44.0;  // transition from 0.9 to 1.1 of the cutoff, at that beta

double bessel_i0(double x) {
  double term = 1.0;
  double sum = 1.0;
  for (int k = 1; term > 1e-18 * sum; ++k) {
    term *= (0.5 * x / k) * (0.5 * x / k);
    sum += term;
  }
  return sum;
}

double kernel(double t, double cutoff, double half) {
  const double edge = 1.0 - (t / half) * (t / half);
  if (edge <= 0.0) return 0.0;
  const double x = std::numbers::pi * cutoff * t;
  const double sinc = std::abs(x) < 1e-9 ? 1.0 : std::sin(x) / x;
  return cutoff * sinc * bessel_i0(kBeta * std::sqrt(edge)) / bessel_i0(kBeta);
}

double cutoff_of(double from_hz, double to_hz) { return std::clamp(to_hz / from_hz, 0.125, 1.0); }

int half_of(double cutoff) {
  constexpr int kStep = kLanes / 2;  // two halves fill whole lanes
  return static_cast<int>(std::ceil(kHalfLength / cutoff / kStep)) * kStep;
}

void add_row(double fraction, double cutoff, int half, std::vector<float>& rows) {
  for (int i = 0; i < 2 * half; ++i)
    rows.push_back(static_cast<float>(kernel(fraction + half - 1 - i, cutoff, half)));
}

using Rows = std::shared_ptr<const std::vector<float>>;

Rows make_rows(double cutoff) {
  const int half = half_of(cutoff);
  std::vector<float> rows;
  rows.reserve(static_cast<std::size_t>(kRows + 1) * static_cast<std::size_t>(2 * half));
  for (int r = 0; r <= kRows; ++r) add_row(static_cast<double>(r) / kRows, cutoff, half, rows);
  return std::make_shared<const std::vector<float>>(std::move(rows));
}

/// The few rates of recorders come again and again, and a table takes as long as seconds of sound.
Rows rows_for(double cutoff) {
  constexpr std::size_t kMost = 16;
  static std::mutex mutex;
  static std::map<double, Rows> made;
  const std::lock_guard lock(mutex);
  if (const auto found = made.find(cutoff); found != made.end()) return found->second;
  if (made.size() >= kMost) made.clear();
  return made[cutoff] = make_rows(cutoff);
}

/// Lanes are summed apart and in a fixed order: the bits are the same whatever the width of the
/// registers.
[[gnu::always_inline]] inline float sum_of(const Float8& s) {
  return ((s[0] + s[4]) + (s[1] + s[5])) + ((s[2] + s[6]) + (s[3] + s[7]));
}

/// Input and kernel at one position: a row that lies between two of the table's.
struct Place {
  const float* x{nullptr};
  const float* row{nullptr};
  float between{0.0F};

  [[gnu::always_inline]] void add(int i, int taps, Float8& sums) const {
    Float8 here{}, there{}, sound{};
    load(row + i, here);
    load(row + taps + i, there);
    load(x + i, sound);
    sums += sound * (here + between * (there - here));
  }
};

struct Table {
  const float* rows;
  int taps;

  /// `x` stays open; result: the first input frame under the kernel.
  [[gnu::always_inline]] std::int64_t find(double position, Place& place) const {
    const double whole = std::floor(position);
    const double in_rows = (position - whole) * kRows;
    const int r = std::min(static_cast<int>(in_rows), kRows - 1);
    place.between = static_cast<float>(in_rows - r);
    place.row = rows + static_cast<std::ptrdiff_t>(r) * taps;
    return static_cast<std::int64_t>(whole) - taps / 2 + 1;
  }

  [[gnu::always_inline]] bool covers(std::span<const float> input, std::int64_t first) const {
    return first >= 0 && first + taps <= static_cast<std::int64_t>(input.size());
  }

  [[gnu::always_inline]] float sum(const Place& place) const {
    Float8 sums{};
    for (int i = 0; i < taps; i += kLanes) place.add(i, taps, sums);
    return sum_of(sums);
  }

  [[gnu::always_inline]] float read(std::span<const float> input, double position) const {
    Place place;
    const std::int64_t first = find(position, place);
    if (!covers(input, first)) return sum_at_edge(input, first, place);
    place.x = input.data() + first;
    return sum(place);
  }

  /// Two positions side by side: one's sums wait for each other.
  [[gnu::always_inline]] void read_two(std::span<const float> input, const double* positions,
                                       float* out) const {
    Place a, b;
    const std::int64_t first_a = find(positions[0], a);
    const std::int64_t first_b = find(positions[1], b);
    if (!covers(input, first_a) || !covers(input, first_b)) {
      out[0] = read(input, positions[0]);
      out[1] = read(input, positions[1]);
      return;
    }
    a.x = input.data() + first_a;
    b.x = input.data() + first_b;
    Float8 sums_a{}, sums_b{};
    for (int i = 0; i < taps; i += kLanes) {
      a.add(i, taps, sums_a);
      b.add(i, taps, sums_b);
    }
    out[0] = sum_of(sums_a);
    out[1] = sum_of(sums_b);
  }

  [[gnu::noinline]] float sum_at_edge(std::span<const float> input, std::int64_t first,
                                      Place place) const {
    std::vector<float> padded(static_cast<std::size_t>(taps), 0.0F);
    const auto length = static_cast<std::int64_t>(input.size());
    for (std::int64_t i = std::max<std::int64_t>(0, -first);
         i < std::min<std::int64_t>(taps, length - first); ++i)
      padded[static_cast<std::size_t>(i)] = input[static_cast<std::size_t>(first + i)];
    place.x = padded.data();
    return sum(place);
  }
};

KILTER_WIDE void filter(const float* padded, const float* row, int taps, std::span<float> out) {
  for (std::size_t k = 0; k < out.size(); ++k) {
    Float8 sums{}, weights{}, sound{};
    for (int i = 0; i < taps; i += kLanes) {
      load(row + i, weights);
      load(padded + k + i, sound);
      sums += sound * weights;
    }
    out[k] = sum_of(sums);
  }
}

}  // namespace

Interpolator::Interpolator(double from_hz, double to_hz) {
  const double cutoff = cutoff_of(from_hz, to_hz);
  taps_ = 2 * half_of(cutoff);
  rows_ = rows_for(cutoff);
}

KILTER_WIDE float Interpolator::at(std::span<const float> input, double position) const {
  return Table{rows_->data(), taps_}.read(input, position);
}

KILTER_WIDE void Interpolator::read(std::span<const float> input, std::span<const double> positions,
                                    std::span<float> out) const {
  const Table table{rows_->data(), taps_};
  std::size_t i = 0;
  for (; i + 1 < out.size(); i += 2) table.read_two(input, positions.data() + i, out.data() + i);
  if (i < out.size()) out[i] = table.read(input, positions[i]);
}

std::vector<float> low_pass(std::span<const float> input, double rate_hz, double corner_hz) {
  const double cutoff = cutoff_of(rate_hz, 2.0 * corner_hz);
  const int half = half_of(cutoff);
  std::vector<float> row;
  add_row(0.0, cutoff, half, row);
  std::vector<float> padded(input.size() + row.size(), 0.0F);
  std::copy(input.begin(), input.end(), padded.begin() + half - 1);
  std::vector<float> out(input.size());
  filter(padded.data(), row.data(), 2 * half, out);
  return out;
}

}  // namespace kilter::simulator

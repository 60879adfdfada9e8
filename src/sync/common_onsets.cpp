#include "common_onsets.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "kilter/base/wide_loops.h"

namespace kilter::sync {
namespace {

constexpr std::int64_t kSecond = kFeatureRateHz;
constexpr std::int64_t kMinute = 60 * kSecond;
constexpr std::int64_t kMinutesCompared = 24;

struct Sums {
  std::int64_t together{0};
  std::int64_t of_a{0};
  std::int64_t of_b{0};
};

struct BandSums {
  std::int32_t together{0};
  std::int32_t of_a{0};
  std::int32_t of_b{0};
};

/// At most a second.
KILTER_WIDE BandSums sums_of(const std::int8_t* a, const std::int8_t* b, std::size_t count) {
  BandSums sums;
  for (std::size_t i = 0; i < count; ++i) {
    const std::int32_t x = a[i];
    const std::int32_t y = b[i];
    sums.together += x * y;
    sums.of_a += x * x;
    sums.of_b += y * y;
  }
  return sums;
}

double seconds(std::int64_t frame) { return static_cast<double>(frame) / kFeatureRateHz; }

class Comparison {
 public:
  Comparison(const MappedFeatures& a, const MappedFeatures& b) : a_(a), b_(b) {}

  double run() {
    const std::int64_t frames = a_.features->frames();
    const std::int64_t stride = 1 + frames / kMinute / (kMinutesCompared + 1);
    for (std::int64_t minute = 0; minute < frames; minute += stride * kMinute) {
      const std::int64_t end = std::min(frames, minute + kMinute);
      for (std::int64_t t = minute; t < end; t += kSecond) add(t, std::min(end, t + kSecond));
    }
    const auto of_a = static_cast<double>(sums_.of_a);
    const auto of_b = static_cast<double>(sums_.of_b);
    return of_a > 0.0 && of_b > 0.0 ? static_cast<double>(sums_.together) / std::sqrt(of_a * of_b)
                                    : 0.0;
  }

 private:
  /// Where frame `t` of `a` lies in `b`.
  std::optional<std::int64_t> frame_in_b(std::int64_t t) const {
    const auto mix_s = a_.map->to_line(seconds(t));
    const auto b_s = mix_s ? b_.map->to_track(*mix_s) : std::nullopt;
    if (!b_s) return std::nullopt;
    return static_cast<std::int64_t>(std::llround(*b_s * kFeatureRateHz));
  }

  /// Frames `from` to `end` of `a`: in one go where no seam lies between and the clocks' drift
  /// makes no step of a frame.
  void add(std::int64_t from, std::int64_t end) {
    const auto first = frame_in_b(from);
    const auto last = frame_in_b(end - 1);
    if (first && last && *last - *first == end - 1 - from && is_whole(from, end - 1)) {
      add_run(from, *first, end - from);
      return;
    }
    for (std::int64_t t = from; t < end; ++t)
      if (const auto there = frame_in_b(t)) add_run(t, *there, 1);
  }

  bool is_whole(std::int64_t from, std::int64_t last) const {
    const auto line_from_s = a_.map->to_line(seconds(from));
    const auto line_to_s = a_.map->to_line(seconds(last));
    if (!line_from_s || !line_to_s) return false;
    const auto spans_a = a_.map->spans();
    const auto spans_b = b_.map->spans();
    return std::any_of(spans_a.begin(), spans_a.end(),
                       [&](const Span& span) {
                         return span.from_s <= seconds(from) && seconds(last) <= span.to_s;
                       }) &&
           std::any_of(spans_b.begin(), spans_b.end(), [&](const Span& span) {
             return span.line_from_s <= *line_from_s && *line_to_s <= span.line_to_s;
           });
  }

  void add_run(std::int64_t t, std::int64_t there, std::int64_t count) {
    count = std::min(count, b_.features->frames() - there);
    if (count <= 0) return;
    for (std::size_t band = 0; band < kFeatureBands; ++band) {
      const BandSums sums =
          sums_of(a_.features->bands[band].data() + t, b_.features->bands[band].data() + there,
                  static_cast<std::size_t>(count));
      sums_.together += sums.together;
      sums_.of_a += sums.of_a;
      sums_.of_b += sums.of_b;
    }
  }

  const MappedFeatures& a_;
  const MappedFeatures& b_;
  Sums sums_;
};

}  // namespace

double onsets_in_common(const MappedFeatures& a, const MappedFeatures& b) {
  return Comparison(a, b).run();
}

}  // namespace kilter::sync

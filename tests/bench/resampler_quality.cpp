// What the resampler does to tones and what it costs, beside libsoxr's VHQ on the same signals, all
// measured in this run. Tones are known at every instant; a tone's level, its images and the rest
// are told apart by least squares, on the middle of the output.
#include <fmt/core.h>
#ifdef KILTER_HAS_SOXR
#include <soxr.h>
#endif

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <functional>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "kilter/base/time_map.h"
#include "kilter/signal/resampler.h"
#include "reference/tones.h"

namespace {

using namespace kilter;
using reference::db_of_power;
using Samples = std::vector<float>;

constexpr double kTopHz = 20000.0;
constexpr std::size_t kBlock = 16384;
constexpr int kRounds = 40;  // of timing; the best counts
constexpr double kTimed_s = 5.0;

struct Conversion {
  std::string name;
  double in_hz{48000.0};
  double out_hz{48000.0};
  double drift_ppm{0.0};
  double offset_frames{0.0};
  bool wanders{false};
  double length_s{1.0};
};

TimeMap map_of(const Conversion& row, double length_s) {
  if (!row.wanders)
    return *TimeMap::line(-row.offset_frames / row.in_hz, row.drift_ppm, length_s, 0.0);
  constexpr double kSpan_s = 2.0;
  std::vector<Span> spans;
  double line_s = 0.0;
  for (int i = 0; i * kSpan_s < length_s; ++i) {
    const double drift_ppm = row.drift_ppm + 2.0 * std::sin(1.9 * i);
    const double next_s = line_s + kSpan_s / (1.0 + drift_ppm * 1e-6);
    spans.push_back({kSpan_s * i, kSpan_s * (i + 1), line_s, next_s, 0.0});
    line_s = next_s;
  }
  return *TimeMap::make(std::move(spans));
}

/// What both sides are given: a track and how many output frames are wanted.
class Resampling {
 public:
  virtual ~Resampling() = default;
  virtual void read(std::span<float> out) = 0;
};

class Ours : public Resampling {
 public:
  Ours(const Conversion& row, const Samples& track)
      : resampler_(map_of(row, static_cast<double>(track.size()) / row.in_hz), {row.in_hz},
                   {row.out_hz}, 0.0, [&track, at = std::size_t{0}](std::span<float> out) mutable {
                     const std::size_t count = std::min(out.size(), track.size() - at);
                     std::copy_n(track.begin() + static_cast<std::ptrdiff_t>(at), count,
                                 out.begin());
                     at += count;
                     return Result<std::int64_t>(static_cast<std::int64_t>(count));
                   }) {}
  void read(std::span<float> out) override {
    if (!resampler_.read(out)) throw std::runtime_error("the resampler failed");
  }

 private:
  MapResampler resampler_;
};

#ifdef KILTER_HAS_SOXR
class Soxr : public Resampling {
 public:
  Soxr(const Conversion& row, const Samples& track) : track_(track) {
    const soxr_io_spec_t io = soxr_io_spec(SOXR_FLOAT32_I, SOXR_FLOAT32_I);
    const soxr_quality_spec_t quality = soxr_quality_spec(SOXR_VHQ, SOXR_HI_PREC_CLOCK);
    const soxr_runtime_spec_t runtime = soxr_runtime_spec(1);
    soxr_error_t error = nullptr;
    soxr_ = soxr_create(row.in_hz * (1.0 + row.drift_ppm * 1e-6), row.out_hz, 1, &error, &io,
                        &quality, &runtime);
    if (error == nullptr) error = soxr_set_input_fn(soxr_, &Soxr::pull, this, kBlock);
    if (error != nullptr) throw std::runtime_error(error);
  }
  ~Soxr() override { soxr_delete(soxr_); }
  Soxr(const Soxr&) = delete;
  Soxr& operator=(const Soxr&) = delete;
  void read(std::span<float> out) override {
    const std::size_t got = soxr_output(soxr_, out.data(), out.size());
    std::fill(out.begin() + static_cast<std::ptrdiff_t>(got), out.end(), 0.0F);
  }

 private:
  static std::size_t pull(void* self, soxr_in_t* data, std::size_t most) {
    auto& soxr = *static_cast<Soxr*>(self);
    const std::size_t count = std::min(most, soxr.track_.size() - soxr.at_);
    *data = soxr.track_.data() + soxr.at_;
    soxr.at_ += count;
    return count;
  }

  const Samples& track_;
  std::size_t at_{0};
  soxr_t soxr_{nullptr};
};
#endif

using Make = std::function<std::unique_ptr<Resampling>(const Conversion&, const Samples&)>;

Samples converted(const Make& make, const Conversion& row, const Samples& track,
                  std::size_t frames) {
  Samples out(frames);
  const auto resampling = make(row, track);
  for (std::size_t at = 0; at < frames; at += kBlock)
    resampling->read(std::span(out).subspan(at, std::min(kBlock, frames - at)));
  return out;
}

struct Quality {
  double ripple_db{0.0};
  std::optional<double> image_db;  // none where images lie on the tone itself
  double rest_db{-300.0};
};

/// The middle of the output, and the track's second of each of its frames.
struct Middle {
  std::size_t first{0};
  std::vector<double> times_s;
};

Middle middle_of(const Conversion& row, std::size_t frames) {
  const TimeMap map = map_of(row, row.length_s);
  Middle middle{frames / 10, {}};
  for (std::size_t n = middle.first; n < frames - frames / 10; ++n) {
    const auto track_s = map.to_track(static_cast<double>(n) / row.out_hz);
    if (!track_s) throw std::runtime_error("the map does not hold the output");
    middle.times_s.push_back(*track_s);
  }
  return middle;
}

Quality quality_of(const Make& make, const Conversion& row) {
  const auto track_frames = static_cast<std::size_t>(row.length_s * row.in_hz);
  const auto frames = static_cast<std::size_t>(0.99 * row.length_s * row.out_hz);
  const Middle middle = middle_of(row, frames);
  const auto fit = [&](double tone_hz, const std::vector<double>& sought_hz) {
    const reference::Tones tone{{tone_hz}, 1.0};
    const Samples out = converted(make, row, tone.sampled(row.in_hz, track_frames), frames);
    return reference::fit_sines(std::span(out).subspan(middle.first, middle.times_s.size()),
                                middle.times_s, sought_hz);
  };
  const bool has_images = std::fmod(row.in_hz, row.out_hz) != 0.0 || row.drift_ppm != 0.0;
  Quality quality;
  const auto image = [&](double amplitude) {
    quality.image_db =
        std::max(quality.image_db.value_or(-300.0), db_of_power(amplitude * amplitude));
  };
  for (const double tone_hz : {20.0, 100.0, 500.0, 997.0, 3150.0, 6000.0, 9000.0, 12000.0, 15000.0,
                               17000.0, 18000.0, 19000.0, 19500.0, 19800.0, kTopHz}) {
    const auto alone = fit(tone_hz, {tone_hz});
    const double level_db = db_of_power(alone.amplitudes[0] * alone.amplitudes[0]);
    quality.ripple_db = std::max(quality.ripple_db, std::abs(level_db));
    quality.rest_db = std::max(quality.rest_db, db_of_power(alone.rest_power / 0.5));
    // At 20 Hz an image's fold cannot be told from the tone's own.
    if (!has_images || tone_hz < 100.0) continue;
    const auto with_images = fit(tone_hz, {tone_hz, row.in_hz - tone_hz, row.in_hz + tone_hz});
    for (std::size_t i = 1; i < with_images.amplitudes.size(); ++i)
      image(with_images.amplitudes[i]);
  }
  // What folds onto the pass band from above.
  for (double tone_hz = row.out_hz - kTopHz; tone_hz < 0.5 * row.in_hz; tone_hz += 991.0)
    image(fit(tone_hz, {tone_hz}).amplitudes[0]);
  return quality;
}

/// Of one round.
double ns_per_frame(const Make& make, const Conversion& row, const Samples& track) {
  const auto resampling = make(row, track);
  const auto blocks = static_cast<std::size_t>(0.95 * kTimed_s * row.out_hz) / kBlock;
  Samples out(kBlock);
  const auto start = std::chrono::steady_clock::now();
  for (std::size_t i = 0; i < blocks; ++i) resampling->read(out);
  const std::chrono::duration<double, std::nano> taken = std::chrono::steady_clock::now() - start;
  return taken.count() / static_cast<double>(blocks * kBlock);
}

std::string shown(const Quality& quality, double ns) {
  const std::string image = quality.image_db ? fmt::format("{:.1f}", *quality.image_db) : "-";
  return fmt::format("{:>11.7f}{:>9}{:>9.1f}{:>8.1f}", quality.ripple_db, image, quality.rest_db,
                     ns);
}

void print_row(const Conversion& row, const Make& ours, const Make& theirs) {
  const Samples track = reference::Tones{{997.0}, 1.0}.sampled(
      row.in_hz, static_cast<std::size_t>(kTimed_s * row.in_hz));
  const bool both = theirs && !row.wanders && row.offset_frames == 0.0;
  double ours_ns = 1e9;
  double theirs_ns = 1e9;
  for (int round = 0; round < kRounds; ++round) {
    ours_ns = std::min(ours_ns, ns_per_frame(ours, row, track));
    if (both) theirs_ns = std::min(theirs_ns, ns_per_frame(theirs, row, track));
  }
  const std::string beside = both ? shown(quality_of(theirs, row), theirs_ns)
                                  : fmt::format("{:>11}{:>9}{:>9}{:>8}", "-", "-", "-", "-");
  fmt::print("{:<24}{} |{}\n", row.name, shown(quality_of(ours, row), ours_ns), beside);
  std::fflush(stdout);
}

}  // namespace

int main() {
  const Make ours = [](const Conversion& row, const Samples& track) {
    return std::make_unique<Ours>(row, track);
  };
  Make theirs;
#ifdef KILTER_HAS_SOXR
  theirs = [](const Conversion& row, const Samples& track) {
    return std::make_unique<Soxr>(row, track);
  };
  const std::string name = std::string("libsoxr VHQ (") + soxr_version() + ")";
#else
  const std::string name = "libsoxr VHQ: absent when this was built";
#endif
  try {
    const std::string columns =
        fmt::format("{:>11}{:>9}{:>9}{:>8}", "ripple", "image", "THD+N", "ns");
    fmt::print("{:<24}{:>37} |{:>37}\n", "", "kilter", name);
    fmt::print("{:<24}{} |{}\n", "", columns, columns);
    for (const Conversion& row :
         {Conversion{"44.1 -> 48 kHz", 44100, 48000}, Conversion{"48 -> 44.1 kHz", 48000, 44100},
          Conversion{"96 -> 48 kHz", 96000, 48000},
          Conversion{"48 kHz, 100 ppm", 48000, 48000, 100},
          Conversion{"48 kHz, 20 ppm", 48000, 48000, 20, 0.0, false, 4.0},
          Conversion{"48 kHz, 0.3 frames", 48000, 48000, 0, 0.3},
          Conversion{"48 kHz, wander 20+-2 ppm", 48000, 48000, 20, 0.0, true, 8.0}})
      print_row(row, ours, theirs);
  } catch (const std::exception& failure) {
    std::fprintf(stderr, "kilter-resampler-quality: %s\n", failure.what());
    return 1;
  }
  fmt::print(
      "\nripple: largest departure from the tone's level, dB, 20 Hz to 20 kHz\n"
      "image:  strongest image of a tone up to 20 kHz, or alias that lands there, dB below it;\n"
      "        - where images lie on the tone itself and are part of its level\n"
      "THD+N:  everything but the tone, over the whole band, dB below it, worst of 20 Hz to 20 "
      "kHz\n"
      "ns:     per output frame, one thread, best of {} rounds by turns\n"
      "-       beside ours: a fixed ratio neither starts between two frames nor wanders\n",
      kRounds);
  return 0;
}

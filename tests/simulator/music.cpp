#include "music.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "random.h"
#include "voices.h"

namespace kilter::simulator {
namespace {

constexpr double kRate = kWorldRateHz;
constexpr std::size_t kMostPartials = 6;
constexpr int kBeats = 4;  // in a bar, each with a chord of its own per bar

struct Tone {
  double from_s{0.0};
  double length_s{1.0};
  double hz{220.0};
  double level{1.0};
  int partials{1};
  double fall_s{1.0};  // e times weaker after that
  double bend_s{0.0};  // above 0: the pitch falls to `hz` from three times as high
};

class Composition {
 public:
  Composition(std::uint64_t seed, std::int64_t frames)
      : random_{seed, 71}, out_(static_cast<std::size_t>(frames), 0.0F) {}

  std::vector<float> play() {
    const double beat_s = 60.0 / random_.between(84.0, 126.0);
    const double root_hz = 110.0 * std::exp2(random_.index(12) / 12.0);
    const double end_s = static_cast<double>(out_.size()) / kRate;
    for (double at_s = 0.0; at_s < end_s; at_s += kBeats * beat_s) bar(at_s, beat_s, root_hz);
    return std::move(out_);
  }

 private:
  void bar(double at_s, double beat_s, double root_hz) {
    static constexpr std::array<int, 6> kDegrees{0, 5, 7, -3, 2, -5};  // semitones
    const int degree = kDegrees[static_cast<std::size_t>(random_.index(6))];
    const int third = random_.chance(0.5) ? 3 : 4;
    for (const int step : {0, third, 7, 12})
      add({at_s, kBeats * beat_s, root_hz * std::exp2((degree + step) / 12.0), 0.25, 6,
           3.0 * beat_s, 0.0});
    for (int beat = 0; beat < kBeats; ++beat) {
      const double beat_at_s = at_s + beat * beat_s;
      const double bass_hz = 0.5 * root_hz * std::exp2(degree / 12.0);
      if (beat % 2 == 0 || random_.chance(0.5)) add({beat_at_s, beat_s, bass_hz, 0.6, 3, 0.4, 0.0});
      if (beat % 2 == 0) add({beat_at_s, 0.3, 55.0, 0.9, 1, 0.1, 0.03});  // kick
      if (beat % 2 == 1) add_noise(beat_at_s, 0.18, 0.5, 0.05);           // snare
      for (const double half : {0.0, 0.5})
        add_noise(beat_at_s + half * beat_s, 0.05, 0.2, 0.015);  // hats
      if (random_.chance(0.6)) {
        const double hz = 2.0 * root_hz * std::exp2((degree + 2 * random_.index(7)) / 12.0);
        add({beat_at_s + 0.25 * random_.index(4) * beat_s, beat_s, hz, 0.3, 4, 0.3, 0.0});
      }
    }
  }

  /// One partial on its way.
  struct Partial {
    std::complex<double> phasor;
    std::complex<double> turn;
    double hz{0.0};
    double level{0.0};
    double phase{0.0};

    double next(double edge, double decay) {
      // Spelled out: the library's product looks for infinities with every step.
      phasor = {phasor.real() * turn.real() - phasor.imag() * turn.imag(),
                phasor.real() * turn.imag() + phasor.imag() * turn.real()};
      const double sound = level * edge * phasor.imag();
      level *= decay;
      return sound;
    }

    double next_bent(double edge, double decay, double bend) {
      phase += 2.0 * std::numbers::pi * (hz * bend) / kRate;
      const double sound = level * edge * std::sin(phase);
      level *= decay;
      return sound;
    }
  };

  void add(const Tone& tone) {
    const auto first = static_cast<std::size_t>(tone.from_s * kRate);
    const std::size_t last =
        std::min(out_.size(), static_cast<std::size_t>((tone.from_s + tone.length_s) * kRate));
    const double decay = std::exp(-1.0 / (tone.fall_s * kRate));
    std::array<Partial, kMostPartials> partials{};
    const auto count = static_cast<std::size_t>(tone.partials);
    for (std::size_t k = 0; k < count; ++k) {
      const auto number = static_cast<double>(k + 1);
      partials[k].hz = tone.hz * number;
      partials[k].phasor = std::polar(1.0, 2.0 * std::numbers::pi * random_.uniform());
      partials[k].turn = std::polar(1.0, 2.0 * std::numbers::pi * partials[k].hz / kRate);
      partials[k].level = tone.level / number;
    }
    // All partials at once: each waits for its own last step only.
    for (std::size_t i = first; i < last; ++i) {
      const double since_s = static_cast<double>(i - first) / kRate;
      const double to_end_s = static_cast<double>(last - i) / kRate;
      const double edge = std::min({1.0, since_s / 0.004, to_end_s / 0.01});
      if (tone.bend_s > 0.0) {
        const double bend = 1.0 + 2.0 * std::exp(-since_s / tone.bend_s);
        for (std::size_t k = 0; k < count; ++k)
          out_[i] += static_cast<float>(partials[k].next_bent(edge, decay, bend));
      } else {
        for (std::size_t k = 0; k < count; ++k)
          out_[i] += static_cast<float>(partials[k].next(edge, decay));
      }
    }
  }

  void add_noise(double from_s, double length_s, double level, double fall_s) {
    const auto first = static_cast<std::size_t>(from_s * kRate);
    const std::size_t last =
        std::min(out_.size(), static_cast<std::size_t>((from_s + length_s) * kRate));
    const double decay = std::exp(-1.0 / (fall_s * kRate));
    float before = 0.0F;
    for (std::size_t i = first; i < last; ++i) {
      const float now = random_.noise();
      out_[i] += static_cast<float>(level) * (now - 0.7F * before);
      before = now;
      level *= decay;
    }
  }

  Random random_;
  std::vector<float> out_;
};

float gain_of(double db) { return static_cast<float>(std::pow(10.0, db / 20.0)); }

void add_jingle(const Jingle& jingle, std::uint64_t seed, std::span<float> bus) {
  const std::vector<float> sound = compose(seed, std::llround(jingle.length_s * kRate));
  const std::int64_t first = std::llround(jingle.line_s * kRate);
  const float gain = gain_of(jingle.level_db);
  const auto size = static_cast<std::int64_t>(sound.size());
  constexpr auto kFade = static_cast<float>(0.5 * kRate);
  for (std::int64_t i = std::max<std::int64_t>(0, -first);
       i < size && first + i < static_cast<std::int64_t>(bus.size()); ++i) {
    const float fade = std::min(1.0F, static_cast<float>(size - i) / kFade);
    bus[static_cast<std::size_t>(first + i)] += gain * fade * sound[static_cast<std::size_t>(i)];
  }
}

}  // namespace

std::vector<float> compose(std::uint64_t seed, std::int64_t frames) {
  std::vector<float> sound = Composition(seed, frames).play();
  double energy = 0.0;
  for (const float x : sound) energy += static_cast<double>(x) * x;
  if (!(energy > 0.0)) return sound;
  const auto gain = static_cast<float>(std::sqrt(static_cast<double>(sound.size()) / energy));
  for (float& x : sound) x *= gain;
  return sound;
}

void add_music(const Music& music, std::uint64_t seed, std::span<float> bus) {
  Random random{seed, 72};
  const std::uint64_t bed_seed = random.bits();
  if (music.bed_db) {
    const auto whole = static_cast<std::int64_t>(bus.size());
    const std::int64_t loop = music.loop_s > 0.0 ? std::llround(music.loop_s * kRate) : whole;
    const std::vector<float> bed = compose(bed_seed, std::min(loop, whole));
    const float gain = gain_of(*music.bed_db);
    for (std::size_t i = 0; i < bus.size(); ++i) bus[i] += gain * bed[i % bed.size()];
  }
  for (const Jingle& jingle : music.jingles) add_jingle(jingle, random.bits(), bus);
}

}  // namespace kilter::simulator

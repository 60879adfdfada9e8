#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "random.h"
#include "voices.h"

namespace kilter::simulator {
namespace {

constexpr double kRate = kWorldRateHz;
constexpr int kFormants = 5;  // those that move
constexpr int kUpperFormants = 3;
constexpr int kBlock = 48;  // controls move once a millisecond

using Formants = std::array<double, kFormants>;

/// What stays the same about a person.
struct Character {
  double pitch_hz;
  double liveliness;   // pitch movement, octaves
  double tract_scale;  // a short tract has high formants
  double breath;
  double syllables_per_s;
  double brightness_hz;  // corner of the source's low-pass
};

Character character_of(Random& random) {
  Character c{};
  const bool low = random.chance(0.5);
  c.pitch_hz = low ? random.between(90.0, 140.0) : random.between(160.0, 230.0);
  c.tract_scale = low ? random.between(0.88, 1.02) : random.between(1.02, 1.18);
  c.liveliness = random.between(0.12, 0.35);
  c.breath = random.between(0.02, 0.08);
  c.syllables_per_s = random.between(3.3, 5.8);
  c.brightness_hz = random.between(1200.0, 2600.0);
  return c;
}

/// What the speaker does from one moment until the next gesture.
struct Gesture {
  double from_s{0.0};
  double voice{0.0};   // level of the pulse train
  double breath{0.0};  // level of the noise through the tract
  double hiss{0.0};    // level of the noise past it
  double hiss_hz{5000.0};
  double hiss_width_hz{2500.0};
  double accent{0.0};  // pitch, octaves
  Formants formants_hz{};
  bool abrupt{false};  // a burst does not fade in
};

Formants vowel(Random& random, double scale) {
  const double first = random.between(280.0, 800.0);
  const double second = random.between(std::max(850.0, 1.35 * first), 2300.0);
  const double third = std::max(second + 350.0, random.between(2300.0, 3000.0));
  return {first * scale, second * scale, third * scale, random.between(3300.0, 3900.0) * scale,
          random.between(4400.0, 5200.0) * scale};
}

/// Writes gestures one after the other.
class Script {
 public:
  Script(Random& random, const Character& who, double length_s)
      : random_(random), who_(who), length_s_(length_s) {
    while (at_s_ < length_s_) syllable();
  }
  const std::vector<Gesture>& gestures() const { return gestures_; }

 private:
  void add(Gesture gesture, double seconds) {
    gesture.from_s = at_s_;
    gestures_.push_back(gesture);
    at_s_ += seconds;
  }

  Gesture shape() const {
    Gesture g;
    g.formants_hz = formants_;
    g.accent = accent_;
    return g;
  }

  void syllable() {
    if (random_.chance(0.12)) add(shape(), random_.between(0.08, 0.4));
    accent_ = random_.between(-1.0, 1.0) * who_.liveliness * (random_.chance(0.2) ? 1.6 : 0.7);
    formants_ = vowel(random_, who_.tract_scale);
    const double seconds = random_.between(0.65, 1.4) / who_.syllables_per_s;
    const double kind = random_.uniform();
    if (kind < 0.3)
      plosive();
    else if (kind < 0.6)
      fricative(seconds);
    else if (kind < 0.8)
      nasal();
    nucleus(seconds);
    if (random_.chance(0.2)) fricative(0.7 * seconds);
  }

  void nucleus(double seconds) {
    Gesture g = shape();
    g.voice = random_.between(0.3, 1.0);
    g.breath = who_.breath;
    add(g, 0.5 * seconds);
    const Formants goal = vowel(random_, who_.tract_scale);  // glides towards another vowel
    for (std::size_t i = 0; i < kFormants; ++i) g.formants_hz[i] += 0.4 * (goal[i] - formants_[i]);
    g.voice *= random_.between(0.3, 0.8);
    add(g, 0.3 * seconds);
  }

  void plosive() {
    add(shape(), random_.between(0.03, 0.07));
    Gesture burst = shape();
    burst.abrupt = true;
    burst.hiss = random_.between(0.3, 0.8);
    burst.hiss_hz = random_.between(1500.0, 6000.0);
    burst.hiss_width_hz = 3000.0;
    burst.breath = 0.3;
    add(burst, random_.between(0.006, 0.014));
    Gesture breathy = shape();
    breathy.breath = random_.between(0.05, 0.2);
    add(breathy, random_.between(0.01, 0.04));
  }

  void fricative(double seconds) {
    Gesture g = shape();
    g.hiss = random_.between(0.1, 0.45);
    g.hiss_hz = random_.between(2500.0, 8500.0);
    g.hiss_width_hz = random_.between(1200.0, 4000.0);
    if (random_.chance(0.3)) g.voice = 0.2;
    add(g, random_.between(0.3, 0.6) * seconds);
  }

  void nasal() {
    Gesture g = shape();
    g.voice = 0.4;
    g.formants_hz[0] = 260.0;
    add(g, random_.between(0.04, 0.09));
  }

  Random& random_;
  const Character& who_;
  double length_s_;
  double at_s_{0.0};
  double accent_{0.0};
  Formants formants_{};
  std::vector<Gesture> gestures_;
};

/// A resonance of unit gain at zero frequency.
class Resonator {
 public:
  void tune(double centre_hz, double width_hz) {
    const double radius = std::exp(-std::numbers::pi * width_hz / kRate);
    c_ = -radius * radius;
    b_ = 2.0 * radius * std::cos(2.0 * std::numbers::pi * centre_hz / kRate);
    a_ = 1.0 - b_ - c_;
  }
  double step(double x) {
    const double y = a_ * x + b_ * last_ + c_ * before_;
    before_ = last_;
    last_ = y;
    return y;
  }

 private:
  double a_{1.0}, b_{0.0}, c_{0.0};
  double last_{0.0}, before_{0.0};
};

/// A band of noise: a resonance, divided by its own gain, without what lies far below it.
class HissFilter {
 public:
  void tune(double centre_hz, double width_hz) {
    const double radius = std::exp(-std::numbers::pi * width_hz / kRate);
    c_ = -radius * radius;
    b_ = 2.0 * radius * std::cos(2.0 * std::numbers::pi * centre_hz / kRate);
    gain_ = 1.0 - radius;
  }
  double step(double x) {
    const double y = gain_ * (x - x_before_) + b_ * last_ + c_ * before_;
    x_before_ = x_last_;
    x_last_ = x;
    before_ = last_;
    last_ = y;
    return y;
  }

 private:
  double gain_{1.0}, b_{0.0}, c_{0.0};
  double x_last_{0.0}, x_before_{0.0}, last_{0.0}, before_{0.0};
};

/// The pulse train: flow through the glottis, differentiated, with an abrupt closure that carries
/// the high harmonics. Every period differs a little from the last.
class Glottis {
 public:
  explicit Glottis(Random& random) : random_(random) {}
  double step(double pitch_hz) {
    phase_ += pitch_hz * jitter_ / kRate;
    if (phase_ >= 1.0) {
      phase_ -= 1.0;
      jitter_ = 1.0 + 0.012 * random_.noise();
      shimmer_ = 1.0 + 0.06 * random_.noise();
    }
    if (phase_ >= kOpen) return 0.0;
    const double p = phase_ / kOpen;
    return shimmer_ * p * (2.0 - 3.0 * p);
  }
  bool open() const { return phase_ < kOpen; }

 private:
  static constexpr double kOpen = 0.62;
  Random& random_;
  double phase_{0.0};
  double jitter_{1.0};
  double shimmer_{1.0};
};

/// Turns a script into sound.
class Tract {
 public:
  Tract(Random& random, const Character& who) : random_(random), who_(who), glottis_(random) {
    for (std::size_t i = 0; i < kUpperFormants; ++i)
      upper_[i].tune((6000.0 + 1100.0 * static_cast<double>(i)) * who.tract_scale, 600.0);
    tilt_ = 1.0 - std::exp(-2.0 * std::numbers::pi * who.brightness_hz / kRate);
    vibrato_phase_ = random.uniform();
  }

  void render(const std::vector<Gesture>& script, std::vector<float>& out) {
    std::size_t next = 0;
    now_ = script.front();
    const double length_s = static_cast<double>(out.size()) / kRate;
    for (std::size_t at = 0; at < out.size(); at += kBlock) {
      const double t = static_cast<double>(at) / kRate;
      while (next + 1 < script.size() && script[next + 1].from_s <= t) ++next;
      move_towards(script[next]);
      set_pitch(t, t / length_s);
      const std::size_t end = std::min(at + kBlock, out.size());
      for (std::size_t i = at; i < end; ++i) out[i] = static_cast<float>(step());
    }
  }

 private:
  static void ease(double& value, double goal, double seconds) {
    value += (goal - value) * std::min(1.0, kBlock / kRate / seconds);
  }

  void move_towards(const Gesture& goal) {
    const double quick_s = goal.abrupt ? 0.001 : 0.009;
    ease(now_.voice, goal.voice, quick_s);
    ease(now_.breath, goal.breath, quick_s);
    ease(now_.hiss, goal.hiss, quick_s);
    ease(now_.accent, goal.accent, 0.06);
    if (goal.hiss > 0.0) {
      ease(now_.hiss_hz, goal.hiss_hz, 0.004);
      ease(now_.hiss_width_hz, goal.hiss_width_hz, 0.004);
    }
    static constexpr Formants kWidths{70.0, 95.0, 140.0, 220.0, 300.0};
    for (std::size_t i = 0; i < kFormants; ++i) {
      ease(now_.formants_hz[i], goal.formants_hz[i], 0.022);
      formants_[i].tune(now_.formants_hz[i], kWidths[i]);
    }
    hiss_.tune(now_.hiss_hz, now_.hiss_width_hz);
  }

  void set_pitch(double t, double progress) {
    const double vibrato = 0.015 * std::sin(2.0 * std::numbers::pi * (5.1 * t + vibrato_phase_));
    const double fall = 0.25 * (0.5 - progress);
    pitch_hz_ = std::clamp(who_.pitch_hz * std::exp2(now_.accent + vibrato + fall), 60.0, 420.0);
  }

  double step() {
    const double pulse = glottis_.step(pitch_hz_);
    const double noise = random_.noise();
    source_ += tilt_ * (now_.voice * pulse - source_);
    double x = source_ + now_.breath * noise * (glottis_.open() ? 0.25 : 0.1);
    for (Resonator& formant : formants_) x = formant.step(x);
    for (Resonator& formant : upper_) x = formant.step(x);
    return x + now_.hiss * hiss_.step(noise);
  }

  Random& random_;
  const Character& who_;
  Glottis glottis_;
  Gesture now_;
  std::array<Resonator, kFormants> formants_;
  std::array<Resonator, kUpperFormants> upper_;  // keep the spectrum from falling too early
  HissFilter hiss_;
  double pitch_hz_{120.0};
  double tilt_{1.0};
  double source_{0.0};
  double vibrato_phase_{0.0};
};

}  // namespace

std::vector<float> SyntheticVoices::utterance(int person, int index, std::int64_t frames) const {
  const auto who_key = static_cast<std::uint64_t>(person);
  Random person_random{seed_, 11, who_key};
  const Character who = character_of(person_random);
  Random random{seed_, 12, who_key, static_cast<std::uint64_t>(index)};
  std::vector<float> out(static_cast<std::size_t>(frames));
  if (out.empty()) return out;
  const Script script(random, who, static_cast<double>(frames) / kRate);
  Tract(random, who).render(script.gestures(), out);
  finish_utterance(out);
  return out;
}

}  // namespace kilter::simulator

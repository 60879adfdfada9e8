#include "room.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace kilter::simulator {
namespace {

constexpr int kReflections = 60;

double from_db(double db) { return std::pow(10.0, db / 20.0); }

/// Reflections after `first_s`, decaying by 60 dB in rt60, of `level` in all (power sum).
void add_reflections(Random& random, double first_s, double rt60_s, double level, Path& path) {
  std::vector<Tap> taps;
  double power = 0.0;
  for (int i = 0; i < kReflections; ++i) {
    // Denser late than early, over the first 40 dB of the decay.
    const double after_s = 0.002 + 0.65 * rt60_s * std::sqrt(random.uniform());
    const double gain =
        random.sign() * random.between(0.4, 1.0) * std::pow(10.0, -3.0 * after_s / rt60_s);
    taps.push_back({std::lround((first_s + after_s) * kWorldRateHz), static_cast<float>(gain)});
    power += gain * gain;
  }
  const auto scale = static_cast<float>(level / std::sqrt(power));
  for (Tap& tap : taps) tap.gain *= scale;
  path.taps.insert(path.taps.end(), taps.begin(), taps.end());
}

/// out[i] += gain * in[i - delay], for the part that fits.
void add_delayed(std::span<const float> in, std::int64_t in_first, float gain,
                 std::int64_t out_first, std::span<float> out) {
  const std::int64_t from = std::max(in_first, out_first);
  const std::int64_t to = std::min(in_first + static_cast<std::int64_t>(in.size()),
                                   out_first + static_cast<std::int64_t>(out.size()));
  if (from >= to) return;
  const float* x = in.data() + (from - in_first);
  float* y = out.data() + (from - out_first);
  for (std::int64_t i = 0; i < to - from; ++i) y[i] += gain * x[i];
}

std::vector<float> dull_of(std::span<const float> sound) {
  const auto pass =
      static_cast<float>(1.0 - std::exp(-2.0 * std::numbers::pi * 5000.0 / kWorldRateHz));
  std::vector<float> out(sound.size());
  float state = 0.0F;
  for (std::size_t i = 0; i < sound.size(); ++i) {
    state += pass * (sound[i] - state);
    out[i] = state;
  }
  return out;
}

}  // namespace

void make_dull(Speech& speech) { speech.dull = dull_of(speech.samples); }

void add_sound(std::span<const float> sound, std::int64_t first, float gain, bool dull,
               std::span<float> out) {
  if (dull)
    add_delayed(dull_of(sound), first, gain, 0, out);
  else
    add_delayed(sound, first, gain, 0, out);
}

Path own_path(Random& random, const Room& room) {
  Path path;
  path.direct = 1.0F;
  add_reflections(random, 0.0, room.rt60_s, from_db(room.own_reverb_db), path);
  return path;
}

Path bleed_path(Random& random, const Room& room) {
  Path path;
  const double level = from_db(random.between(room.bleed_low_db, room.bleed_high_db));
  const double delay_s = 1e-3 * random.between(room.delay_low_ms, room.delay_high_ms);
  path.taps.push_back({std::lround(delay_s * kWorldRateHz), static_cast<float>(level)});
  add_reflections(random, delay_s, room.rt60_s, level * from_db(-3.0), path);
  return path;
}

void add_speech(const Speech& speech, const Path& path, float gain, std::int64_t out_first,
                std::span<float> out) {
  if (path.direct != 0.0F)
    add_delayed(speech.samples, speech.first_frame, gain * path.direct, out_first, out);
  // In blocks, so that all taps work on what the cache holds.
  constexpr std::size_t kBlock = 4096;
  const std::span<const float> dull(speech.dull);
  for (std::size_t at = 0; at < dull.size(); at += kBlock) {
    const auto block = dull.subspan(at, std::min(kBlock, dull.size() - at));
    const std::int64_t first = speech.first_frame + static_cast<std::int64_t>(at);
    for (const Tap& tap : path.taps)
      add_delayed(block, first + tap.delay_frames, gain * tap.gain, out_first, out);
  }
}

}  // namespace kilter::simulator

#include "random_lineup.h"

#include <algorithm>
#include <array>
#include <iterator>
#include <string>

#include "simulator/random.h"

namespace kilter::edits {
namespace {

using simulator::Random;

template <typename Values>
auto one_of(Random& random, const Values& values) {
  return values[static_cast<std::size_t>(random.index(static_cast<int>(std::size(values))))];
}

std::string odd_name(Random& random) {
  constexpr std::array kBits{"keeper", "Leuchtturm Süd",
                             "灯台",   "\"mate\"",
                             "a\tb",   "new\nline",
                             "\\x41",  "=1+1",
                             "#",      "'",
                             ";",      "\r\n",
                             "C",      "001",
                             "* ",     "pilot",
                             "🗼",      "%20"};
  std::string name;
  for (int i = random.index(3); i >= 0; --i) name += one_of(random, kBits);
  return name;
}

/// Spans up to the files' end, with seams, gaps, and now and then a clock that wanders.
std::vector<Span> spans_of(Random& random, double length_s) {
  std::vector<Span> spans;
  double track_s = random.chance(0.3) ? random.between(0.0, 0.2 * length_s) : 0.0;
  double line_s = random.between(-30.0, 100.0);
  const double drift = random.chance(0.2) ? 0.0 : random.between(-300e-6, 300e-6);
  while (track_s < length_s) {
    const double wander = random.chance(0.5) ? random.between(-20e-6, 20e-6) : 0.0;
    const double span_s = std::min(random.between(0.5, 0.6 * length_s), length_s - track_s);
    const double line_span_s = span_s / (1.0 + drift + wander);
    if (span_s > 1e-3)
      spans.push_back(
          {track_s, track_s + span_s, line_s, line_s + line_span_s, random.between(1.0, 2000.0)});
    track_s += span_s + (random.chance(0.3) ? random.between(0.0, 2.0) : 0.0);
    line_s += line_span_s + (random.chance(0.3) ? random.between(0.0, 3.0) : 0.0);
  }
  return spans;
}

LineupTrack random_track(Random& random, int number) {
  LineupTrack track;
  track.name = odd_name(random) + std::to_string(number);
  track.rate_hz = one_of(random, std::array{44100.0, 48000.0, 96000.0});
  for (int part = random.index(3); part >= 0; --part) {
    const std::string file = "rec" + std::to_string(number) + 'p' + std::to_string(part);
    track.parts.push_back({file + odd_name(random) + ".wav", 1 + random.index(4),
                           static_cast<std::int64_t>(random.between(1.0, 200.0) * track.rate_hz)});
  }
  track.role = random.chance(0.1) ? Role::ignore : Role::room;
  track.recorder = std::string(1, static_cast<char>('A' + random.index(3)));
  if (random.chance(0.15)) return track;
  const double length_s = static_cast<double>(track.frames()) / track.rate_hz;
  auto map = TimeMap::make(spans_of(random, length_s));
  if (!map) return track;
  track.map = *std::move(map);
  track.standing = random.chance(0.3) ? Standing::shaky : Standing::firm;
  track.inverted = random.chance(0.3);
  return track;
}

}  // namespace

Lineup random_lineup(std::uint64_t seed) {
  Random random{seed, 0x11e0};
  Lineup lineup;
  lineup.session = odd_name(random);
  lineup.timeline_rate_hz = one_of(random, std::array{44100.0, 48000.0, 96000.0});
  lineup.from_s = random.chance(0.5) ? 0.0 : random.between(-5.0, 5.0);
  lineup.to_s = lineup.from_s + 400.0;
  for (int i = random.index(4); i >= 0; --i) lineup.tracks.push_back(random_track(random, i));
  return lineup;
}

}  // namespace kilter::edits

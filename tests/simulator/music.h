// Music that stands in the mix alone.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace kilter::simulator {

struct Jingle {
  double line_s{0.0};
  double length_s{6.0};
  double level_db{-20.0};  ///< mean, on the scale of Person::level_db
  bool alone{true};        ///< nobody speaks meanwhile
};

struct Music {
  std::optional<double> bed_db;  ///< mean level under everything, on the scale of Person::level_db
  double loop_s{0.0};            ///< above 0: the bed comes round again, sample for sample
  std::vector<Jingle> jingles;
};

/// Chords, bass and drums at kWorldRateHz, mean level 1 (RMS). Another piece for every seed.
std::vector<float> compose(std::uint64_t seed, std::int64_t frames);

/// Adds the bed and the jingles to `bus`, which begins at timeline second 0.
void add_music(const Music& music, std::uint64_t seed, std::span<float> bus);

}  // namespace kilter::simulator

// A simulated session of any length, written piece by piece: memory holds a few minutes of it.
#pragma once

#include <cstdint>
#include <filesystem>

namespace kilter::bench {

struct LongShow {
  double length_s{3600.0};  ///< of the mix
  int room{4};
  int remote{2};
  double rate_hz{48000.0};
  bool flac{false};  ///< 16-bit FLAC in place of 24-bit WAV
  std::uint64_t seed{1};
};

/// Clocks go on from piece to piece to the sample; talk and room are other ones every five minutes.
/// `folder` is made anew. Throws std::runtime_error where that fails.
/// Cost: that of simulating every piece.
void write_long_show(const LongShow& show, int threads, const std::filesystem::path& folder);

}  // namespace kilter::bench

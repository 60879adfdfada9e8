#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/media/audio_writer.h"

namespace kilter::conform {

/// What all stems of a session have in common.
struct StemShape {
  double rate_hz{0.0};
  double from_s{0.0};
  std::int64_t frames{0};
  media::SampleFormat format{media::SampleFormat::pcm24};
};

/// The tracks that get a stem, in the lineup's order.
std::vector<const LineupTrack*> tracks_with_stems(const Lineup& lineup);

/// What goes into one stem: a track, or all takes of one voice.
struct StemPlan {
  std::filesystem::path file;  ///< in the stems' folder
  std::vector<const LineupTrack*> takes;
};
/// In the order of the first take of each.
std::vector<StemPlan> plan_stems(const Lineup& lineup);

/// Writes placed tracks, which hold different times, as one stem and returns the samples that were
/// clipped. `after_block` is told the frames just written and answers whether to go on; if not, the
/// stem fails (interrupted). Otherwise fails with unreadable (a track) or cannot_write (the stem).
Result<std::int64_t> render_stem(const std::vector<const LineupTrack*>& takes,
                                 const std::filesystem::path& session_folder,
                                 const StemShape& shape, const std::filesystem::path& file,
                                 const std::function<bool(std::int64_t frames)>& after_block);

}  // namespace kilter::conform

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

/// Placed tracks that hold different times and sound as one: a track, or all takes of one voice.
using Takes = std::vector<const LineupTrack*>;

/// What goes into one stem.
struct StemPlan {
  std::filesystem::path file;  ///< in the stems' folder
  std::vector<Takes> channels;
};
/// In the order of the first take of each; one channel each. Then the mix, if `mix_channels` is not
/// empty: it has one track per channel. The plans point into both arguments.
std::vector<StemPlan> plan_stems(const Lineup& lineup,
                                 const std::vector<LineupTrack>& mix_channels);

/// The name of the mix's stem, before it is made safe.
std::string mix_stem_name(const LineupMix& mix);
/// The mix as tracks, one per channel, on the timeline by its own spans; none without a mix. Fails
/// (unreadable) where its file cannot be read.
Result<std::vector<LineupTrack>> mix_as_tracks(const Lineup& lineup,
                                               const std::filesystem::path& session_folder);

struct WrittenStem {
  std::int64_t clipped_samples{0};
  std::uint64_t digest{
      0};  ///< of its samples as they are read (see SampleDigest), channels by turns
};

/// Writes one stem. `after_block` is told the frames just
/// written and answers whether to go on; if not, the stem fails (interrupted). Otherwise fails with
/// unreadable (a track) or cannot_write (the stem).
Result<WrittenStem> render_stem(const std::vector<Takes>& channels,
                                const std::filesystem::path& session_folder, const StemShape& shape,
                                const std::filesystem::path& file,
                                const std::function<bool(std::int64_t frames)>& after_block);

}  // namespace kilter::conform

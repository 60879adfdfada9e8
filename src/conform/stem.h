#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/media/audio_writer.h"
#include "shared_files.h"

namespace kilter::conform {

/// Of a sample: 16, 24 or 32.
int bits_of(media::SampleFormat format);

/// What all stems of a session have in common.
struct StemShape {
  double rate_hz{0.0};
  double from_s{0.0};
  std::int64_t frames{0};
  media::SampleFormat format{media::SampleFormat::pcm24};
  media::Container container{media::Container::wav};
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
std::vector<StemPlan> plan_stems(const Lineup& lineup, const std::vector<LineupTrack>& mix_channels,
                                 media::Container container);

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

/// One stem on its way to its file. Stems whose tracks lie in the same files share `files`, are all
/// made before the first of them goes on, and go on side by side.
class StemRender {
 public:
  /// Keeps references to the plan's tracks. `file` is what is written, in `format`.
  StemRender(const StemPlan& plan, SharedFiles& files, const StemShape& shape,
             std::filesystem::path file, media::WriterOptions format);
  StemRender(const StemRender&) = delete;
  StemRender& operator=(const StemRender&) = delete;
  ~StemRender();

  /// Writes the next frames and returns how many; 0 once all are on their way to the disk, and
  /// little memory is in use. Fails with unreadable (a track) or cannot_write (the stem); nothing
  /// is left of the file then, as when it is destroyed before finish().
  Result<std::int64_t> go_on();
  /// Then waits until the disk holds the file, and puts it in place. Fails with cannot_write.
  Result<void> finish();
  /// Of a finished one.
  WrittenStem written() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace kilter::conform

#include "stem.h"

#include <algorithm>
#include <string>

#include "kilter/conform/conform.h"
#include "kilter/signal/resampler.h"
#include "track_reader.h"

namespace kilter::conform {
namespace {

constexpr std::int64_t kBlock = 16384;

}  // namespace

std::vector<const LineupTrack*> tracks_with_stems(const Lineup& lineup) {
  std::vector<const LineupTrack*> tracks;
  for (const LineupTrack& track : lineup.tracks)
    if (track.is_used()) tracks.push_back(&track);
  return tracks;
}

std::vector<std::filesystem::path> stem_files(const Lineup& lineup) {
  std::vector<std::string> names;
  for (const LineupTrack* track : tracks_with_stems(lineup)) names.push_back(track->name);
  std::vector<std::filesystem::path> files;
  for (const std::string& name : safe_file_names(names)) files.emplace_back(name + ".wav");
  return files;
}

Result<std::int64_t> render_stem(const LineupTrack& track,
                                 const std::filesystem::path& session_folder,
                                 const StemShape& shape, const std::filesystem::path& file,
                                 const std::function<bool(std::int64_t frames)>& after_block) {
  TrackReader reader(track, session_folder);
  MapResampler resampler(*track.map, {track.rate_hz}, {shape.rate_hz}, shape.from_s,
                         [&](std::span<float> out) { return reader.pull(out); });
  auto writer = media::AudioWriter::create(file, {{shape.rate_hz}, 1, shape.format});
  if (!writer) return writer.error();

  std::vector<float> block(kBlock);
  for (std::int64_t at = 0; at < shape.frames; at += kBlock) {
    const std::int64_t count = std::min(kBlock, shape.frames - at);
    const std::span<float> sound = std::span(block).first(static_cast<std::size_t>(count));
    if (auto read = resampler.read(sound); !read) return read.error();
    if (track.inverted)
      for (float& sample : sound) sample = -sample;
    if (auto written = writer->write(sound); !written) return written.error();
    if (!after_block(count))
      return Error{ErrorKind::interrupted, file, "stopped before it was complete", "start again"};
  }
  if (auto finished = writer->finish(); !finished) return finished.error();
  return writer->clipped_samples();
}

}  // namespace kilter::conform

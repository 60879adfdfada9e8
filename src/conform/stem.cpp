#include "stem.h"

#include <algorithm>
#include <map>
#include <memory>
#include <string>

#include "kilter/conform/conform.h"
#include "kilter/signal/resampler.h"
#include "track_reader.h"

namespace kilter::conform {
namespace {

constexpr std::int64_t kBlock = 16384;

/// One track as it sounds on the timeline.
class Take {
 public:
  Take(const LineupTrack& track, const std::filesystem::path& session_folder,
       const StemShape& shape)
      : inverted_(track.inverted),
        reader_(track, session_folder),
        resampler_(*track.map, {track.rate_hz}, {shape.rate_hz}, shape.from_s,
                   [this](std::span<float> out) { return reader_.pull(out); }) {}
  Take(const Take&) = delete;
  Take& operator=(const Take&) = delete;

  Result<void> read(std::span<float> sound) {
    if (auto done = resampler_.read(sound); !done) return done;
    if (inverted_)
      for (float& sample : sound) sample = -sample;
    return {};
  }

 private:
  bool inverted_;
  TrackReader reader_;
  MapResampler resampler_;
};

}  // namespace

std::vector<const LineupTrack*> tracks_with_stems(const Lineup& lineup) {
  std::vector<const LineupTrack*> tracks;
  for (const LineupTrack& track : lineup.tracks)
    if (track.is_used()) tracks.push_back(&track);
  return tracks;
}

std::vector<StemPlan> plan_stems(const Lineup& lineup) {
  std::vector<StemPlan> plans;
  std::vector<std::string> names;
  std::map<std::string, std::size_t> by_voice;
  for (const LineupTrack* track : tracks_with_stems(lineup)) {
    if (!track->voice.empty()) {
      const auto [found, is_new] = by_voice.emplace(track->voice, plans.size());
      if (!is_new) {
        plans[found->second].takes.push_back(track);
        continue;
      }
    }
    plans.push_back({{}, {track}});
    names.push_back(track->voice.empty() ? track->name : track->voice);
  }
  const auto files = safe_file_names(names);
  for (std::size_t i = 0; i < plans.size(); ++i) plans[i].file = files[i] + ".wav";
  return plans;
}

Result<std::int64_t> render_stem(const std::vector<const LineupTrack*>& takes,
                                 const std::filesystem::path& session_folder,
                                 const StemShape& shape, const std::filesystem::path& file,
                                 const std::function<bool(std::int64_t frames)>& after_block) {
  std::vector<std::unique_ptr<Take>> sources;
  sources.reserve(takes.size());
  for (const LineupTrack* track : takes)
    sources.push_back(std::make_unique<Take>(*track, session_folder, shape));
  auto writer = media::AudioWriter::create(file, {{shape.rate_hz}, 1, shape.format});
  if (!writer) return writer.error();

  std::vector<float> block(kBlock);
  std::vector<float> further(takes.size() > 1 ? kBlock : 0);
  for (std::int64_t at = 0; at < shape.frames; at += kBlock) {
    const auto count = static_cast<std::size_t>(std::min(kBlock, shape.frames - at));
    const std::span<float> sound = std::span(block).first(count);
    if (auto read = sources.front()->read(sound); !read) return read.error();
    for (std::size_t i = 1; i < sources.size(); ++i) {
      const std::span<float> more = std::span(further).first(count);
      if (auto read = sources[i]->read(more); !read) return read.error();
      for (std::size_t n = 0; n < count; ++n) sound[n] += more[n];
    }
    if (auto written = writer->write(sound); !written) return written.error();
    if (!after_block(static_cast<std::int64_t>(count)))
      return Error{ErrorKind::interrupted, file, "stopped before it was complete", "start again"};
  }
  if (auto finished = writer->finish(); !finished) return finished.error();
  return writer->clipped_samples();
}

}  // namespace kilter::conform

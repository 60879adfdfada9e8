#include "source_facts.h"

#include <cmath>
#include <map>
#include <memory>
#include <string>

#include "kilter/media/audio_file.h"
#include "kilter/media/file_ends.h"

namespace kilter::commands {
namespace {

constexpr double kDay_s = 86400.0;

edits::SourceFacts facts_of_file(const std::filesystem::path& file, double rate_hz) {
  edits::SourceFacts facts;
  double first_frame_s = 0.0;
  if (const auto stamp = media::read_start_stamp(file)) {
    first_frame_s = stamp->of_day_s();
  } else if (const auto audio = media::open_audio(file); audio && audio->info.has_video) {
    facts.has_picture = true;
    first_frame_s = audio->info.timecode_s.value_or(0.0) + audio->info.start_in_file_s;
  }
  facts.time_reference = std::llround(std::fmod(first_frame_s, kDay_s) * rate_hz);
  return facts;
}

}  // namespace

edits::SourceFactsOf source_facts(const Lineup& lineup, const std::filesystem::path& folder) {
  auto known = std::make_shared<std::map<std::string, edits::SourceFacts>>();
  for (const LineupTrack& track : lineup.tracks)
    for (const TrackPart& part : track.parts)
      if (!known->contains(part.file))
        known->emplace(part.file, facts_of_file(folder / part.file, track.rate_hz));
  return [known](const TrackPart& part) {
    const auto found = known->find(part.file);
    return found == known->end() ? edits::SourceFacts{} : found->second;
  };
}

}  // namespace kilter::commands

#include "track_reader.h"

#include <algorithm>
#include <utility>

#include "kilter/media/audio_file.h"

namespace kilter::conform {
namespace {

constexpr std::int64_t kBlock = 4096;

Error another_file(const std::filesystem::path& file, const std::string& what) {
  return {ErrorKind::unreadable, file, "it is not the file that was aligned: " + what,
          "align the session again"};
}

}  // namespace

TrackReader::TrackReader(const LineupTrack& track, std::filesystem::path session_folder)
    : track_(track), folder_(std::move(session_folder)) {}

Result<std::int64_t> TrackReader::pull(std::span<float> out) {
  std::int64_t total = 0;
  while (!out.empty() && part_ < track_.parts.size()) {
    if (!source_)
      if (auto opened = open_part(); !opened) return opened.error();
    const auto got = pull_from_part(out);
    if (!got) return got.error();
    total += *got;
    out = out.subspan(static_cast<std::size_t>(*got));
    if (left_in_part_ == 0) {
      source_.reset();
      ++part_;
    }
  }
  return total;
}

Result<void> TrackReader::open_part() {
  const TrackPart& part = track_.parts[part_];
  const std::filesystem::path file = folder_ / part.file;
  auto audio = media::open_audio(file);
  if (!audio) return audio.error();
  if (audio->info.rate.hz != track_.rate_hz)
    return another_file(file, "its sample rate is another");
  if (part.channel < 1 || part.channel > audio->info.channels)
    return another_file(file, "it has no channel " + std::to_string(part.channel));
  source_ = std::move(audio->source);
  left_in_part_ = part.frames;
  interleaved_.resize(static_cast<std::size_t>(kBlock * source_->channels()));
  return {};
}

Result<std::int64_t> TrackReader::pull_from_part(std::span<float> out) {
  const TrackPart& part = track_.parts[part_];
  const auto channels = static_cast<std::size_t>(source_->channels());
  const auto wanted =
      static_cast<std::size_t>(std::min({std::int64_t{kBlock}, left_in_part_, std::ssize(out)}));
  const auto got = source_->read(std::span(interleaved_).first(wanted * channels));
  if (!got) return got.error();
  if (got->n == 0 && wanted > 0)
    return another_file(folder_ / part.file,
                        "it ends " + std::to_string(left_in_part_) + " frames early");
  const auto channel = static_cast<std::size_t>(part.channel - 1);
  for (std::size_t i = 0; i < static_cast<std::size_t>(got->n); ++i)
    out[i] = interleaved_[i * channels + channel];
  left_in_part_ -= got->n;
  return got->n;
}

}  // namespace kilter::conform

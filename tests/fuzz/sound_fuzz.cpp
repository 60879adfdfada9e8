// Sound files of any kind: an error that says what to do, or sound, of numbers, the same however it
// is asked for. No crash, no hang, no memory by what a header claims.
#include <cmath>
#include <cstring>
#include <vector>

#include "fuzz.h"
#include "kilter/media/audio_file.h"
#include "kilter/media/file_ends.h"

namespace kilter::fuzz {
namespace {

namespace fs = std::filesystem;

// Silence between stamps may last an hour: more than a try is worth.
constexpr std::int64_t kMostSamples = 2'000'000;

struct Heard {
  std::int64_t frames{0};
  std::uint64_t digest{14695981039346656037U};
  bool failed{false};
  bool ended{false};
};

void add(std::span<const float> samples, Heard& heard) {
  for (const float sample : samples) {
    require(std::isfinite(sample) && std::abs(sample) <= 1e5F, "samples are numbers");
    std::uint32_t bits = 0;
    std::memcpy(&bits, &sample, sizeof bits);
    heard.digest = (heard.digest ^ bits) * 1099511628211U;
  }
}

void require_sensible(const media::AudioInfo& info) {
  require(info.channels >= 1 && info.channels <= 64, "1 to 64 channels");
  require(info.rate.hz >= 1000.0 && info.rate.hz <= 768000.0, "1 kHz to 768 kHz");
  require(info.claimed_length.n >= 0, "a claim is none below 0");
  require(std::isfinite(info.start_in_file_s), "a start is a number");
  require(!info.format.empty(), "a format has a name");
  require(!info.video_fps || (std::isfinite(*info.video_fps) && *info.video_fps > 0.0),
          "pictures a second are some");
  require(!info.timecode_s || std::isfinite(*info.timecode_s), "timecode is a time");
}

void require_sensible(const media::ReadNotes& notes) {
  require(notes.missing.n >= 0 && notes.put_in.n >= 0 && notes.left_out.n >= 0,
          "no count is below 0");
  require(notes.jump_count >= std::ssize(notes.jumps), "all jumps count");
}

Heard hear(media::OpenAudio& audio, std::size_t frames_at_once) {
  const auto channels = static_cast<std::size_t>(audio.info.channels);
  require(audio.source->channels() == audio.info.channels, "source and header agree");
  std::vector<float> block(frames_at_once * channels);
  Heard heard;
  while (heard.frames * audio.info.channels < kMostSamples) {
    const auto got = audio.source->read(block);
    heard.failed = !got;
    heard.ended = !got || got->n == 0;
    if (!got) require_clear(got.error());
    if (heard.ended) break;
    require(got->n >= 0 && static_cast<std::size_t>(got->n) <= frames_at_once,
            "no more than asked");
    add(std::span(block).first(static_cast<std::size_t>(got->n) * channels), heard);
    heard.frames += got->n;
  }
  if (!heard.ended) return heard;
  const auto after = audio.source->read(block);
  require(heard.failed ? !after : after && after->n == 0, "an end is an end");
  require_sensible(audio.source->notes());
  return heard;
}

bool try_file(const fs::path& file) {
  auto audio = media::open_audio(file);
  if (!audio) {
    require(audio.error().kind == ErrorKind::unreadable, "a broken file is unreadable");
    require_clear(audio.error());
    return false;
  }
  require_sensible(audio->info);
  const Heard heard = hear(*audio, 977);
  auto again = media::open_audio(file);
  require(static_cast<bool>(again), "what opens once opens twice");
  const Heard twice = hear(*again, 4096);
  if (heard.ended && twice.ended)
    require(heard.frames == twice.frames && heard.digest == twice.digest &&
                heard.failed == twice.failed,
            "the same sound in blocks of any size");
  return true;
}

void try_ends(const fs::path& file) {
  if (const auto ends = media::read_file_ends(file, {500})) {
    require(ends->channels > 0 && ends->length.n > 0, "ends are of sound");
    const auto most = static_cast<std::size_t>(500 * ends->channels);
    require(ends->head.size() <= most && ends->tail.size() <= most, "no more than asked");
    for (const auto* samples : {&ends->head, &ends->tail})
      for (const float sample : *samples) require(std::isfinite(sample), "samples are numbers");
  }
  const auto stamp = media::find_start_stamp(file);
  require(static_cast<bool>(stamp), "a broken file is no broken disk");
  if (*stamp) require((*stamp)->of_day_s() > 0.0, "a stamp is a time");
}

}  // namespace

void try_input(Input input) {
  const std::string_view bytes = input.rest();
  const fs::path file = put_file("keeper.wav", bytes);
  media::begins_like_audio(file);
  try_ends(file);
  // Of MP3 files some begin with anything, and only their name tells.
  if (!try_file(file)) try_file(put_file("keeper.mp3", bytes));
}

}  // namespace kilter::fuzz

// What containers hold and what they refuse.
#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <string_view>

#include "bext_chunk.h"
#include "kilter/media/audio_writer.h"
#include "sound_sink.h"

namespace kilter::media {
namespace {

constexpr std::int64_t kMostRf64Bytes = std::int64_t{1} << 53;
constexpr std::int64_t kMostFlacFrames = (std::int64_t{1} << 36) - 1;
constexpr int kMostFlacChannels = 8;
constexpr int kMostChannels = 1024;                // that libsndfile reads
constexpr std::size_t kMostBextBytes = 10 * 1024;  // likewise

/// FLAC frames tell their rate in hertz with 16 bits, or in tens of hertz.
bool flac_has_rate(double rate_hz) {
  constexpr double kInHertz = 65535.0;
  constexpr double kInTens = 655350.0;
  return rate_hz <= kInHertz || (rate_hz <= kInTens && std::fmod(rate_hz, 10.0) == 0.0);
}

bool wav_has_rate(const WriterOptions& options) {
  return options.rate.hz * options.channels * facts_of(options.format).bytes() < 0x1p32;
}

/// "0" in `form` stands for any digit.
bool has_form(std::string_view text, std::string_view form) {
  return text.empty() ||
         std::equal(text.begin(), text.end(), form.begin(), form.end(), [](char letter, char as) {
           return as == '0' ? letter >= '0' && letter <= '9' : letter == as;
         });
}

struct Refusal {
  bool applies;
  std::string what;
  std::string next_step;
};

std::optional<Error> first_of(std::span<const Refusal> refusals,
                              const std::filesystem::path& file) {
  for (const Refusal& each : refusals)
    if (each.applies) return Error{ErrorKind::cannot_write, file, each.what, each.next_step};
  return std::nullopt;
}

std::optional<Error> refusal_of_notes(const BroadcastNotes& notes,
                                      const std::filesystem::path& file) {
  const auto& timecode = notes.timecode_rate;
  return first_of(
      std::array{
          Refusal{!has_form(notes.origination_date, "0000-00-00"),
                  "its date \"" + notes.origination_date + "\" is not of the form yyyy-mm-dd",
                  "give the date in that form"},
          Refusal{!has_form(notes.origination_time, "00:00:00"),
                  "its time \"" + notes.origination_time + "\" is not of the form hh:mm:ss",
                  "give the time in that form"},
          Refusal{notes.time_reference.n < 0, "its sound would begin before midnight",
                  "choose a later timecode to start with"},
          Refusal{timecode && (timecode->numerator < 1 || timecode->denominator < 1),
                  "its timecode rate is no rate", "choose a rate such as 25"},
          Refusal{bext_content(notes).size() > kMostBextBytes,
                  "its coding history is longer than readers take", "shorten it"}},
      file);
}

}  // namespace

FormatFacts facts_of(SampleFormat format) {
  switch (format) {
    case SampleFormat::pcm16:
      return {16, false};
    case SampleFormat::pcm24:
      return {24, false};
    case SampleFormat::float32:
      break;
  }
  return {32, true};
}

std::optional<Error> refusal(const WriterOptions& options, const std::filesystem::path& file) {
  const double rate_hz = options.rate.hz;
  const bool is_flac = options.container == Container::flac;
  const bool whole = rate_hz >= 1.0 && rate_hz <= 1e9 && rate_hz == std::floor(rate_hz);
  const std::string rate_text = whole ? std::to_string(static_cast<int>(rate_hz)) : "";
  const std::array refusals{
      Refusal{!whole, "its sample rate is no whole number of hertz", "choose a rate such as 48000"},
      Refusal{options.channels < 1, "it would have no channel", "choose at least one"},
      Refusal{is_flac && options.format == SampleFormat::float32,
              "a FLAC file holds no floating-point samples", "choose 16 or 24 bits, or WAV"},
      Refusal{is_flac && options.channels > kMostFlacChannels,
              "a FLAC file holds at most 8 channels, not " + std::to_string(options.channels),
              "choose WAV or RF64"},
      Refusal{is_flac && !flac_has_rate(rate_hz),
              "a FLAC file cannot have a sample rate of " + rate_text + " Hz",
              "choose a rate up to 65535, or in tens up to 655350, or WAV"},
      Refusal{options.channels > kMostChannels,
              "it would have more than " + std::to_string(kMostChannels) + " channels",
              "choose fewer channels"},
      Refusal{!is_flac && !wav_has_rate(options),
              "it would hold more bytes a second than a WAV file can state",
              "choose a lower rate or fewer channels"}};
  if (auto error = first_of(refusals, file)) return error;
  if (options.notes) return refusal_of_notes(*options.notes, file);
  return std::nullopt;
}

Frames longest_file(const WriterOptions& options) {
  const std::int64_t frame_bytes =
      std::int64_t{options.channels} * facts_of(options.format).bytes();
  switch (options.container) {
    case Container::flac:
      return {kMostFlacFrames};
    case Container::rf64:
      return {kMostRf64Bytes / frame_bytes};
    case Container::wav:
      break;
  }
  return {most_wav_bytes(options) / frame_bytes};
}

Container container_for(const WriterOptions& options, Frames length) {
  const bool outgrows = options.container == Container::wav && length.n > longest_file(options).n;
  return outgrows ? Container::rf64 : options.container;
}

}  // namespace kilter::media

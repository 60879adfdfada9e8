#include "kilter/media/audio_file.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cctype>
#include <cmath>
#include <limits>
#include <optional>
#include <system_error>
#include <utility>

#include "sndfile_handle.h"

namespace kilter::media {
namespace {

constexpr int kMostChannels = 64;
constexpr int kLowestRateHz = 1000;
constexpr int kHighestRateHz = 768000;
// A header that claims more than a month of sound is damaged, whatever its container.
constexpr std::int64_t kLongestClaim_s = 31 * 86400;

struct ContainerName {
  int type;
  const char* name;
};
constexpr std::array kContainers{
    ContainerName{SF_FORMAT_WAV, "WAV"},   ContainerName{SF_FORMAT_WAVEX, "WAV"},
    ContainerName{SF_FORMAT_RF64, "RF64"}, ContainerName{SF_FORMAT_W64, "W64"},
    ContainerName{SF_FORMAT_AIFF, "AIFF"}, ContainerName{SF_FORMAT_CAF, "CAF"},
    ContainerName{SF_FORMAT_FLAC, "FLAC"}, ContainerName{SF_FORMAT_OGG, "Ogg"},
    ContainerName{SF_FORMAT_AU, "AU"},     ContainerName{SF_FORMAT_MPEG, ""}};

struct EncodingName {
  int subtype;
  const char* name;
  bool lossy;
};
constexpr std::array kEncodings{EncodingName{SF_FORMAT_PCM_S8, "8-bit", false},
                                EncodingName{SF_FORMAT_PCM_U8, "8-bit", false},
                                EncodingName{SF_FORMAT_PCM_16, "16-bit", false},
                                EncodingName{SF_FORMAT_PCM_24, "24-bit", false},
                                EncodingName{SF_FORMAT_PCM_32, "32-bit", false},
                                EncodingName{SF_FORMAT_FLOAT, "32-bit float", false},
                                EncodingName{SF_FORMAT_DOUBLE, "64-bit float", false},
                                EncodingName{SF_FORMAT_ALAC_16, "ALAC 16-bit", false},
                                EncodingName{SF_FORMAT_ALAC_20, "ALAC 20-bit", false},
                                EncodingName{SF_FORMAT_ALAC_24, "ALAC 24-bit", false},
                                EncodingName{SF_FORMAT_ALAC_32, "ALAC 32-bit", false},
                                EncodingName{SF_FORMAT_ULAW, "u-law", false},
                                EncodingName{SF_FORMAT_ALAW, "A-law", false},
                                EncodingName{SF_FORMAT_VORBIS, "Vorbis", true},
                                EncodingName{SF_FORMAT_OPUS, "Opus", true},
                                EncodingName{SF_FORMAT_MPEG_LAYER_I, "MP1", true},
                                EncodingName{SF_FORMAT_MPEG_LAYER_II, "MP2", true},
                                EncodingName{SF_FORMAT_MPEG_LAYER_III, "MP3", true}};

/// The library's own name for what the tables above do not list.
std::string library_name(int format) {
  SF_FORMAT_INFO info{};
  info.format = format;
  const bool known = sf_command(nullptr, SFC_GET_FORMAT_INFO, &info, sizeof info) == 0;
  return known && info.name != nullptr ? info.name : "unknown";
}

std::string container_name(int format) {
  const int type = format & SF_FORMAT_TYPEMASK;
  for (const ContainerName& row : kContainers)
    if (row.type == type) return row.name;
  return library_name(type);
}

std::string join_words(const std::string& left, const std::string& right) {
  return left.empty() ? right : left + ' ' + right;
}

void name_format(int format, AudioInfo& info) {
  const int subtype = format & SF_FORMAT_SUBMASK;
  const std::string container = container_name(format);
  for (const EncodingName& row : kEncodings) {
    if (row.subtype != subtype) continue;
    info.format = join_words(container, row.name);
    info.lossy = row.lossy;
    return;
  }
  info.format = join_words(container, library_name(subtype));
  info.lossy = true;  // the rest are speech codecs of old
}

Frames sensible_length(const SF_INFO& header) {
  const bool sensible = header.frames > 0 && header.frames / header.samplerate <= kLongestClaim_s;
  return {sensible ? header.frames : 0};
}

AudioInfo describe(const SF_INFO& header) {
  AudioInfo info;
  name_format(header.format, info);
  info.rate = {static_cast<double>(header.samplerate)};
  info.channels = header.channels;
  info.claimed_length = sensible_length(header);
  return info;
}

Error unreadable(const std::filesystem::path& file, std::string what, std::string next_step) {
  return {ErrorKind::unreadable, file, std::move(what), std::move(next_step)};
}

std::string library_says(const char* words) { return std::string(" (libsndfile: ") + words + ")"; }

class SndfileSource final : public AudioSource {
 public:
  SndfileSource(SndfileHandle handle, std::filesystem::path file, const AudioInfo& info)
      : handle_(std::move(handle)),
        file_(std::move(file)),
        rate_(info.rate),
        channels_(info.channels),
        claimed_length_(info.claimed_length) {}

  SampleRate rate() const override { return rate_; }
  int channels() const override { return channels_; }
  Frames claimed_length() const override { return claimed_length_; }

  Result<Frames> read(std::span<float> interleaved) override {
    assert(std::ssize(interleaved) % channels_ == 0);
    const sf_count_t asked = std::ssize(interleaved) / channels_;
    sf_count_t total = 0;
    while (total < asked && !ended_) {
      const sf_count_t got =
          sf_readf_float(handle_.get(), interleaved.data() + total * channels_, asked - total);
      total += std::max<sf_count_t>(got, 0);
      // Asked at once: the library forgets it in its next call.
      const int code = sf_error(handle_.get());
      if (code != SF_ERR_NO_ERROR) failure_ = damaged(position_.n + total);
      ended_ = got <= 0 || code != SF_ERR_NO_ERROR;
    }
    position_.n += total;
    if (total == 0 && asked > 0 && failure_) return *failure_;
    const std::span<float> filled = interleaved.first(static_cast<std::size_t>(total * channels_));
    // Without a branch, so that vector instructions do it.
    for (float& sample : filled)
      sample = std::fabs(sample) <= std::numeric_limits<float>::max() ? sample : 0.0F;
    return Frames{total};
  }

 private:
  Error damaged(std::int64_t frame) const {
    return unreadable(file_,
                      "cannot be decoded beyond frame " + std::to_string(frame) +
                          library_says(sf_strerror(handle_.get())),
                      "copy it again from where it was recorded: this copy is damaged");
  }

  SndfileHandle handle_;
  std::filesystem::path file_;
  SampleRate rate_;
  int channels_;
  Frames claimed_length_;
  Frames position_;
  bool ended_{false};
  std::optional<Error> failure_;  // told once what was read before it is delivered
};

/// What can be said better than the library would, before it is asked.
std::optional<Error> refusal(const std::filesystem::path& file) {
  namespace fs = std::filesystem;
  std::error_code problem;
  const fs::file_status status = fs::status(file, problem);
  if (status.type() == fs::file_type::not_found)
    return unreadable(file, "there is no such file", "check its name and folder");
  if (problem) return unreadable(file, problem.message(), "check its folder and your rights");
  if (fs::is_directory(status))
    return unreadable(file, "it is a folder", "name an audio file inside it");
  if (!fs::is_regular_file(status))
    return unreadable(file, "it is not an ordinary file", "name an audio file");
  const std::uintmax_t size = fs::file_size(file, problem);
  if (!problem && size == 0)
    return unreadable(file, "the file is empty", "copy it again from where it was recorded");
  return std::nullopt;
}

std::optional<Error> beyond_limits(const std::filesystem::path& file, const SF_INFO& header) {
  if (header.channels < 1 || header.channels > kMostChannels)
    return unreadable(file, "it has " + std::to_string(header.channels) + " channels",
                      "split it into files of at most " + std::to_string(kMostChannels));
  if (header.samplerate < kLowestRateHz || header.samplerate > kHighestRateHz)
    return unreadable(file, "its sample rate is " + std::to_string(header.samplerate) + " Hz",
                      "check the file: rates from 1 kHz to 768 kHz are read");
  return std::nullopt;
}

Error not_opened(const std::filesystem::path& file, int code, const std::string& words) {
  if (code == SF_ERR_SYSTEM)
    return unreadable(file, "it cannot be opened" + library_says(words.c_str()),
                      "check that you may read it");
  return unreadable(file, "not a format we know" + library_says(words.c_str()),
                    "check that it plays elsewhere, or convert it to WAV or FLAC");
}

}  // namespace

Result<OpenAudio> open_audio(const std::filesystem::path& file) {
  if (auto error = refusal(file)) return *std::move(error);
  SF_INFO header{};
  SndfileHandle handle;
  {
    const std::lock_guard lock(sndfile_open_mutex());
    handle.reset(sf_open(file.c_str(), SFM_READ, &header));
    if (!handle) return not_opened(file, sf_error(nullptr), sf_strerror(nullptr));
  }
  // Some endings make the library take any bytes for headerless telephone sound.
  if ((header.format & SF_FORMAT_TYPEMASK) == SF_FORMAT_RAW)
    return not_opened(file, SF_ERR_UNRECOGNISED_FORMAT, "no header");
  if (auto error = beyond_limits(file, header)) return *std::move(error);
  OpenAudio audio;
  audio.info = describe(header);
  audio.source = std::make_unique<SndfileSource>(std::move(handle), file, audio.info);
  return audio;
}

bool has_audio_name(const std::filesystem::path& file) {
  static constexpr std::array kEndings{".wav",  ".wave", ".bwf",  ".rf64", ".w64", ".aif",  ".aiff",
                                       ".aifc", ".caf",  ".flac", ".ogg",  ".oga", ".opus", ".mp3",
                                       ".mp2",  ".au",   ".snd",  ".m4a",  ".aac", ".mp4",  ".mov",
                                       ".webm", ".mka",  ".mkv",  ".alac", ".wma"};
  std::string ending = file.extension().string();
  for (char& letter : ending)
    letter = static_cast<char>(std::tolower(static_cast<unsigned char>(letter)));
  return std::any_of(kEndings.begin(), kEndings.end(),
                     [&](const char* known) { return ending == known; });
}

}  // namespace kilter::media

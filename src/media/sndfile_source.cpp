#include "sndfile_source.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

#include "claimed_size.h"
#include "container_names.h"
#include "kilter/base/system_words.h"
#include "non_numbers.h"
#include "ogg_pages.h"
#include "pcm_bytes.h"
#include "reading_limits.h"
#include "sndfile_input.h"

namespace kilter::media {
namespace {

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
  int bits;  // 0: no whole numbers
  bool lossy;
};
constexpr std::array kEncodings{EncodingName{SF_FORMAT_PCM_S8, "8-bit", 8, false},
                                EncodingName{SF_FORMAT_PCM_U8, "8-bit", 8, false},
                                EncodingName{SF_FORMAT_PCM_16, "16-bit", 16, false},
                                EncodingName{SF_FORMAT_PCM_24, "24-bit", 24, false},
                                EncodingName{SF_FORMAT_PCM_32, "32-bit", 32, false},
                                EncodingName{SF_FORMAT_FLOAT, "32-bit float", 0, false},
                                EncodingName{SF_FORMAT_DOUBLE, "64-bit float", 0, false},
                                EncodingName{SF_FORMAT_ALAC_16, "ALAC 16-bit", 16, false},
                                EncodingName{SF_FORMAT_ALAC_20, "ALAC 20-bit", 20, false},
                                EncodingName{SF_FORMAT_ALAC_24, "ALAC 24-bit", 24, false},
                                EncodingName{SF_FORMAT_ALAC_32, "ALAC 32-bit", 32, false},
                                EncodingName{SF_FORMAT_ULAW, "u-law", 16, false},
                                EncodingName{SF_FORMAT_ALAW, "A-law", 16, false},
                                EncodingName{SF_FORMAT_VORBIS, "Vorbis", 0, true},
                                EncodingName{SF_FORMAT_OPUS, "Opus", 0, true},
                                EncodingName{SF_FORMAT_MPEG_LAYER_I, "MP1", 0, true},
                                EncodingName{SF_FORMAT_MPEG_LAYER_II, "MP2", 0, true},
                                EncodingName{SF_FORMAT_MPEG_LAYER_III, "MP3", 0, true}};

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
    info.bits = row.bits;
    info.lossy = row.lossy;
    return;
  }
  info.format = join_words(container, library_name(subtype));
  info.lossy = true;  // the rest are speech codecs of old
}

AudioInfo describe(const SF_INFO& header) {
  AudioInfo info;
  name_format(header.format, info);
  info.rate = {static_cast<double>(header.samplerate)};
  info.channels = header.channels;
  info.claimed_length = {sensible_length(header.frames, header.samplerate)};
  // The library removes it where a tag states it, and does not tell whether there was one.
  info.has_lead_in = (header.format & SF_FORMAT_TYPEMASK) == SF_FORMAT_MPEG;
  return info;
}

std::string library_says(const std::string& words) { return "libsndfile: " + words; }

class SndfileSource final : public FileSource {
 public:
  /// `problem_before`: an errno, of what happened while all was looked through.
  SndfileSource(std::unique_ptr<SndfileInput> input, SndfileHandle handle, const SF_INFO& header,
                const AudioInfo& info, int problem_before)
      : input_(std::move(input)),
        handle_(std::move(handle)),
        pcm_bytes_(pcm_bytes_per_sample(handle_.get(), header)),
        rate_(info.rate),
        channels_(info.channels),
        claimed_length_(info.claimed_length),
        problem_before_(problem_before) {}

  SampleRate rate() const override { return rate_; }
  int channels() const override { return channels_; }
  Frames claimed_length() const override { return claimed_length_; }
  const ReadNotes& notes() const override { return notes_; }
  void note_break() { notes_.breaks_off = true; }
  void note_unclosed() { notes_.unclosed = true; }

  Result<Frames> read(std::span<float> interleaved) override {
    assert(std::ssize(interleaved) % channels_ == 0);
    const sf_count_t asked = std::ssize(interleaved) / channels_;
    sf_count_t total = 0;
    while (total < asked && !ended_) {
      const sf_count_t got =
          read_some(interleaved.subspan(static_cast<std::size_t>(total * channels_)));
      total += std::max<sf_count_t>(got, 0);
      // Asked at once: the library forgets it in its next call.
      const bool failed = sf_error(handle_.get()) != SF_ERR_NO_ERROR;
      if (const int problem = input_->file().problem())  // which it takes for the file's end
        end(damaged(file(), position_.n + total, system_words(problem)));
      else if (failed)
        end(damaged(file(), position_.n + total, library_says(sf_strerror(handle_.get()))));
      else if (to_seconds({position_.n + total}, rate_).s > static_cast<double>(kLongest_s))
        end(too_long(file()));
      else if (got <= 0 && problem_before_ != 0)
        end(not_read_everywhere(file(), problem_before_));
      else if (got <= 0)
        end(std::nullopt);
    }
    const std::span<float> filled = interleaved.first(static_cast<std::size_t>(total * channels_));
    if (pcm_bytes_ == 0) silence_non_numbers(filled, channels_, position_, notes_);
    position_.n += total;
    if (ended_) notes_.missing = {std::max<std::int64_t>(claimed_length_.n - position_.n, 0)};
    if (total == 0 && asked > 0 && failure_) return *failure_;
    return Frames{total};
  }

 private:
  const std::filesystem::path& file() const { return input_->file().file(); }
  /// The number of frames. Plain numbers are taken as they are, for the library turns them into
  /// samples one by one, in pieces of 8 kB.
  sf_count_t read_some(std::span<float> interleaved) {
    if (pcm_bytes_ == 0)
      return sf_readf_float(handle_.get(), interleaved.data(), std::ssize(interleaved) / channels_);
    bytes_.resize(interleaved.size() * static_cast<std::size_t>(pcm_bytes_));
    const sf_count_t got =
        sf_read_raw(handle_.get(), bytes_.data(), std::ssize(bytes_)) / (pcm_bytes_ * channels_);
    if (got <= 0) return got;
    const auto samples = static_cast<std::size_t>(got * channels_);
    samples_of_pcm(std::span(bytes_).first(samples * static_cast<std::size_t>(pcm_bytes_)),
                   pcm_bytes_, interleaved.first(samples));
    return got;
  }
  void end(std::optional<Error> failure) {
    ended_ = true;
    failure_ = std::move(failure);
  }

  std::unique_ptr<SndfileInput> input_;  // outlives the handle, which reads through it
  SndfileHandle handle_;
  int pcm_bytes_;  // of a sample; 0 where the library must make samples of what is there
  std::vector<char> bytes_;
  SampleRate rate_;
  int channels_;
  Frames claimed_length_;
  int problem_before_;
  Frames position_;
  bool ended_{false};
  std::optional<Error> failure_;  // told once what was read before it is delivered
  ReadNotes notes_;
};

Error not_opened(const std::filesystem::path& file, const std::string& words) {
  return unreadable(file, "not a format we know (" + library_says(words) + ")",
                    "check that it plays elsewhere, or convert it to WAV or FLAC");
}

}  // namespace

Result<OpenSndfile> open_with_sndfile(const std::shared_ptr<FileInput>& shared) {
  const std::filesystem::path& file = shared->file();
  std::optional<OggPages> pages;
  if (container_name(head_of(*shared)) == "Ogg") pages = look_at_ogg_pages(*shared);
  if (pages && pages->whole < 2)  // which libsndfile would answer with a leak
    return unreadable(file, "nothing but its header is there",
                      "copy it again from where it was recorded");
  // Told when the sound is read, if it can be: the pages only say whether that is all.
  const int page_problem = shared->take_problem();
  const HeaderPatch unwritten = unwritten_size(*shared);
  const auto cut = cut_sound(*shared);
  SF_INFO header{};
  std::string words;
  auto input = std::make_unique<SndfileInput>(
      shared, unwritten.count > 0 ? unwritten : size_to_the_end(*shared));
  SndfileHandle handle = input->open(header, words);
  if (!handle) return not_opened(file, words);
  // Half a header gives other sound, not less.
  if (shared->problem() != 0) return not_to_be_read(file, shared->problem());
  if (auto error = beyond_limits(file, header.samplerate, header.channels))
    return *std::move(error);
  OpenSndfile opened;
  opened.audio.info = describe(header);
  // The library counts only what is there.
  if (cut)
    opened.audio.info.claimed_length.n = sensible_length(
        std::llround(static_cast<double>(header.frames) * static_cast<double>(cut->promised) /
                     static_cast<double>(cut->there)),
        header.samplerate);
  auto source = std::make_unique<SndfileSource>(std::move(input), std::move(handle), header,
                                                opened.audio.info, page_problem);
  if (unwritten.count > 0) source->note_unclosed();
  if (pages && page_problem == 0 && !pages->have_end) source->note_break();
  opened.loses_sound = pages && !pages->undamaged;
  opened.audio.source = std::move(source);
  return opened;
}

}  // namespace kilter::media

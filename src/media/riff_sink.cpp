#include <algorithm>
#include <array>
#include <bit>
#include <cassert>
#include <cstring>
#include <limits>

#include "bext_chunk.h"
#include "cue_chunks.h"
#include "ixml_text.h"
#include "little_endian.h"
#include "sound_sink.h"

namespace kilter::media {
namespace {

constexpr std::uint64_t kPcm = 1;
constexpr std::uint64_t kIeeeFloat = 3;
constexpr std::uint64_t kIn64Bits = 0xFFFFFFFFU;  // in RF64: `ds64` knows the size
constexpr std::int64_t kBeforeRiffSize = 8;       // what a RIFF size does not count
constexpr std::int64_t kLargestRiffSize = 0xFFFFFFFE;
/// Kept free for what is not sound, so that the longest WAV is as long with notes as without.
constexpr std::int64_t kBesideSound = 64 * 1024;

/// The bytes of a file in order: head, sound, blank, tail.
struct Sizes {
  std::int64_t sound{0};
  std::int64_t tail{0};
  std::int64_t blank() const { return sound % 2; }
};

std::string format_content(const WriterOptions& options) {
  const FormatFacts format = facts_of(options.format);
  const auto rate = static_cast<std::uint64_t>(options.rate.hz);
  const auto frame_bytes = static_cast<std::uint64_t>(options.channels * format.bytes());
  std::string content;
  put_16(content, format.is_float ? kIeeeFloat : kPcm);
  put_16(content, static_cast<std::uint64_t>(options.channels));
  put_32(content, rate);
  put_32(content, rate * frame_bytes);
  put_16(content, frame_bytes);
  put_16(content, static_cast<std::uint64_t>(format.bits));
  if (format.is_float) put_16(content, 0);  // no extension follows
  return content;
}

std::string notes_chunks(const WriterOptions& options) {
  std::string chunks;
  if (!options.notes) return chunks;
  put_chunk(chunks, "bext", bext_content(*options.notes));
  put_chunk(chunks, "iXML",
            ixml_text(*options.notes, {static_cast<int>(options.rate.hz),
                                       facts_of(options.format).bits, options.channels}));
  return chunks;
}

/// Everything before the sound; as long for any sizes. Cues stand behind the sound: a long list of
/// them before it keeps libsndfile from finding it.
std::string head(const WriterOptions& options, const std::string& notes, const Sizes& sizes) {
  const FormatFacts format = facts_of(options.format);
  const bool is_64 = options.container == Container::rf64;
  const std::int64_t frames = sizes.sound / (options.channels * format.bytes());
  std::string chunks;
  put_chunk(chunks, "fmt ", format_content(options));
  if (format.is_float) {  // every format but PCM states its frames
    std::string fact;
    put_32(fact, std::min(static_cast<std::uint64_t>(frames), kIn64Bits));
    put_chunk(chunks, "fact", fact);
  }
  chunks += notes;

  constexpr std::int64_t kDs64Content = 28;
  const std::int64_t head_bytes = 12 + (is_64 ? 8 + kDs64Content : 0) + std::ssize(chunks) + 8;
  const std::int64_t riff_size =
      head_bytes + sizes.sound + sizes.blank() + sizes.tail - kBeforeRiffSize;
  std::string bytes = is_64 ? "RF64" : "RIFF";
  put_32(bytes, is_64 ? kIn64Bits : static_cast<std::uint64_t>(riff_size));
  bytes += "WAVE";
  if (is_64) {
    std::string sizes_64;
    put_64(sizes_64, static_cast<std::uint64_t>(riff_size));
    put_64(sizes_64, static_cast<std::uint64_t>(sizes.sound));
    put_64(sizes_64, static_cast<std::uint64_t>(frames));
    put_32(sizes_64, 0);  // no other chunk is that large
    put_chunk(bytes, "ds64", sizes_64);
  }
  bytes += chunks + "data";
  put_32(bytes, is_64 ? kIn64Bits : static_cast<std::uint64_t>(sizes.sound));
  return bytes;
}

std::string tail(const WriterOptions& options, Frames length) {
  if (!options.notes) return {};
  return cue_chunks(cues_within(options.notes->cues, length));
}

/// The low bytes of each sample, least significant first.
template <std::size_t Bytes>
void pack(std::span<const std::int32_t> samples, char* out) {
  for (const std::int32_t sample : samples) {
    const auto bits = static_cast<std::uint32_t>(sample);
    for (std::size_t i = 0; i < Bytes; ++i) *out++ = static_cast<char>(bits >> (8U * i));
  }
}

std::uint32_t little_endian(std::uint32_t word) {
  if constexpr (std::endian::native == std::endian::big) return __builtin_bswap32(word);
  return word;
}

/// pack<3>, with a store a sample: the byte too much goes where the next sample comes, and the last
/// one beyond them all.
void pack_24(std::span<const std::int32_t> samples, char* out) {
  for (const std::int32_t sample : samples) {
    const std::uint32_t word = little_endian(static_cast<std::uint32_t>(sample));
    std::memcpy(out, &word, sizeof word);
    out += 3;
  }
}

class RiffSink : public SoundSink {
 public:
  RiffSink(const WriterOptions& options, FileOutput& output)
      : options_(options),
        bytes_a_sample_(facts_of(options.format).bytes()),
        notes_(notes_chunks(options)),
        output_(output) {}

  bool write(std::span<const std::int32_t> samples) override {
    if (output_.length() == 0 && !output_.write(head(options_, notes_, {}))) return false;
    return output_.write(packed(samples));
  }

  bool finish(Frames length) override {
    const std::string after = tail(options_, length);
    const Sizes sizes{length.n * options_.channels * bytes_a_sample_, std::ssize(after)};
    const std::string before = head(options_, notes_, sizes);
    // Where nothing was written, the head that is written last is all there is to come first.
    output_.seek(std::ssize(before) + sizes.sound);
    if (sizes.blank() != 0 && !output_.write(std::array{'\0'})) return false;
    if (!after.empty() && !output_.write(after)) return false;
    output_.seek(0);
    return output_.write(before);
  }

 private:
  std::span<const char> packed(std::span<const std::int32_t> samples) {
    assert(samples.size() <= kMostAtOnce);
    if (bytes_a_sample_ == 2)
      pack<2>(samples, packed_.data());
    else if (bytes_a_sample_ == 3)
      pack_24(samples, packed_.data());
    else
      pack<4>(samples, packed_.data());
    return std::span(packed_).first(samples.size() * static_cast<std::size_t>(bytes_a_sample_));
  }

  WriterOptions options_;
  int bytes_a_sample_;
  std::string notes_;
  FileOutput& output_;
  std::array<char, 4 * kMostAtOnce> packed_;  // NOLINT: filled before it is read
};

}  // namespace

std::unique_ptr<SoundSink> make_riff_sink(const WriterOptions& options, FileOutput& output) {
  return std::make_unique<RiffSink>(options, output);
}

std::int64_t most_wav_bytes(const WriterOptions& options) {
  WriterOptions wav = options;
  wav.container = Container::wav;
  const Frames any_length{std::numeric_limits<std::int64_t>::max()};
  const std::int64_t beside =
      std::ssize(head(wav, notes_chunks(wav), {})) + std::ssize(tail(wav, any_length));
  const std::int64_t left = kLargestRiffSize + kBeforeRiffSize - beside;
  return std::clamp<std::int64_t>(left, 0, (std::int64_t{1} << 32) - kBesideSound);
}

}  // namespace kilter::media

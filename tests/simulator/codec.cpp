#include "codec.h"

#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <memory>
#include <mutex>
#include <optional>

#include "opus_stream.h"
#include "sound_delay.h"
#include "voices.h"

namespace kilter::simulator {
namespace {

struct MemoryFile {
  std::vector<char> bytes;
  std::size_t position{0};
};

sf_count_t length_of(void* user) {
  return static_cast<sf_count_t>(static_cast<MemoryFile*>(user)->bytes.size());
}

sf_count_t seek_to(sf_count_t offset, int whence, void* user) {
  auto& file = *static_cast<MemoryFile*>(user);
  sf_count_t base = 0;
  if (whence == SEEK_CUR) base = static_cast<sf_count_t>(file.position);
  if (whence == SEEK_END) base = static_cast<sf_count_t>(file.bytes.size());
  if (base + offset < 0) return -1;
  file.position = static_cast<std::size_t>(base + offset);
  return base + offset;
}

sf_count_t read_from(void* to, sf_count_t count, void* user) {
  auto& file = *static_cast<MemoryFile*>(user);
  if (file.position >= file.bytes.size()) return 0;
  const std::size_t n =
      std::min(static_cast<std::size_t>(count), file.bytes.size() - file.position);
  std::memcpy(to, file.bytes.data() + file.position, n);
  file.position += n;
  return static_cast<sf_count_t>(n);
}

sf_count_t write_to(const void* from, sf_count_t count, void* user) {
  auto& file = *static_cast<MemoryFile*>(user);
  const auto n = static_cast<std::size_t>(count);
  file.bytes.resize(std::max(file.bytes.size(), file.position + n));
  std::memcpy(file.bytes.data() + file.position, from, n);
  file.position += n;
  return count;
}

sf_count_t tell(void* user) {
  return static_cast<sf_count_t>(static_cast<MemoryFile*>(user)->position);
}

struct Close {
  void operator()(SNDFILE* file) const noexcept { sf_close(file); }
};
using Handle = std::unique_ptr<SNDFILE, Close>;

std::mutex& open_mutex() {
  static std::mutex mutex;  // the library's error text of a failed open is global
  return mutex;
}

Result<Handle> open(MemoryFile& file, int mode, SF_INFO& info) {
  SF_VIRTUAL_IO io{length_of, seek_to, read_from, write_to, tell};
  const std::lock_guard lock(open_mutex());
  Handle handle(sf_open_virtual(&io, mode, &info, &file));
  if (handle) return handle;
  return Error{ErrorKind::bad_command,
               {},
               std::string("libsndfile refuses this coding (") + sf_strerror(nullptr) + ")",
               "choose another codec, or another sample rate"};
}

int format_of(Codec codec) {
  switch (codec) {
    case Codec::opus:
      return SF_FORMAT_OGG | SF_FORMAT_OPUS;
    case Codec::vorbis:
      return SF_FORMAT_OGG | SF_FORMAT_VORBIS;
    case Codec::mp3:
      return SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III;
    case Codec::none:
      break;
  }
  return SF_FORMAT_WAV | SF_FORMAT_FLOAT;
}

// libsndfile's one scale, 0 (best) to 1, for each codec's own.
double compression_for(Coding coding, double rate_hz) {
  double level = 0.0;
  if (coding.codec == Codec::opus) level = 1.0 - (coding.kbps - 6.0) / 250.0;
  if (coding.codec == Codec::vorbis) level = 1.0 - (coding.kbps - 40.0) / 200.0;
  if (coding.codec == Codec::mp3) {
    const bool full_rates = rate_hz >= 32000.0;  // MPEG-1; below it MPEG-2 with its own range
    level = full_rates ? (320.0 - coding.kbps) / 288.0 : (160.0 - coding.kbps) / 152.0;
  }
  return std::clamp(level, 0.0, 1.0);
}

Result<void> encode(std::span<const float> samples, double rate_hz, Coding coding,
                    MemoryFile& file) {
  SF_INFO info{};
  info.samplerate = static_cast<int>(std::lround(rate_hz));
  info.channels = 1;
  info.format = format_of(coding.codec);
  auto handle = open(file, SFM_WRITE, info);
  if (!handle) return handle.error();
  if (coding.codec == Codec::mp3) {
    int mode = SF_BITRATE_MODE_CONSTANT;
    sf_command(handle->get(), SFC_SET_BITRATE_MODE, &mode, sizeof mode);
  }
  double level = compression_for(coding, rate_hz);
  sf_command(handle->get(), SFC_SET_COMPRESSION_LEVEL, &level, sizeof level);
  constexpr std::size_t kBlock = 1 << 16;
  for (std::size_t at = 0; at < samples.size(); at += kBlock) {
    const auto count = static_cast<sf_count_t>(std::min(kBlock, samples.size() - at));
    if (sf_writef_float(handle->get(), samples.data() + at, count) != count)
      return Error{ErrorKind::cannot_write, {}, sf_strerror(handle->get()), "try another codec"};
  }
  if (sf_close(handle->release()) != 0)
    return Error{
        ErrorKind::cannot_write, {}, "a coded file could not be ended", "try another codec"};
  return {};
}

Result<std::vector<float>> decode(MemoryFile& file, std::size_t length) {
  file.position = 0;
  SF_INFO info{};
  auto handle = open(file, SFM_READ, info);
  if (!handle) return handle.error();
  std::vector<float> samples(length, 0.0F);
  std::size_t at = 0;
  while (at < length) {
    const auto count =
        sf_readf_float(handle->get(), samples.data() + at, static_cast<sf_count_t>(length - at));
    if (count <= 0) break;
    at += static_cast<std::size_t>(count);
  }
  return samples;
}

/// What a file would give back, where that can be had without one.
std::optional<std::vector<float>> without_file([[maybe_unused]] std::span<const float> samples,
                                               [[maybe_unused]] double rate_hz,
                                               [[maybe_unused]] Coding coding) {
#ifdef KILTER_SIMULATOR_OPUS
  if (coding.codec == Codec::opus && rate_hz == kWorldRateHz)
    return through_opus(
        samples, static_cast<int>((1.0 - compression_for(coding, rate_hz)) * 250000.0 + 6000.0));
#endif
  return {};
}

}  // namespace

Result<Coded> code(std::span<const float> samples, double rate_hz, Coding coding,
                   CodedFile wanted) {
  if (wanted == CodedFile::not_wanted)
    if (auto heard = without_file(samples, rate_hz, coding)) {
      const double delay_s = mean_delay_s(samples, *heard, rate_hz);
      return Coded{{}, *std::move(heard), delay_s};
    }
  MemoryFile file;
  if (auto done = encode(samples, rate_hz, coding, file); !done) return done.error();
  auto decoded = decode(file, samples.size());
  if (!decoded) return decoded.error();
  const double delay_s = mean_delay_s(samples, *decoded, rate_hz);
  return Coded{std::move(file.bytes), *std::move(decoded), delay_s};
}

const char* to_text(Codec codec) {
  switch (codec) {
    case Codec::opus:
      return "opus";
    case Codec::vorbis:
      return "vorbis";
    case Codec::mp3:
      return "mp3";
    case Codec::none:
      break;
  }
  return "none";
}

const char* extension(Codec codec) {
  switch (codec) {
    case Codec::opus:
      return ".opus";
    case Codec::vorbis:
      return ".ogg";
    case Codec::mp3:
      return ".mp3";
    case Codec::none:
      break;
  }
  return ".wav";
}

}  // namespace kilter::simulator

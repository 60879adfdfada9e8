#include "kilter/media/audio_writer.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cerrno>
#include <cmath>
#include <cstdio>
#include <string>
#include <system_error>
#include <utility>
#include <vector>

#include "kilter/base/system_words.h"
#include "sndfile_handle.h"

namespace kilter::media {
namespace {

struct FormatRow {
  SampleFormat format;
  int subtype;
  int bits;  // of an integer; 0: floating point
  int bytes;
};
constexpr std::array kFormats{FormatRow{SampleFormat::pcm16, SF_FORMAT_PCM_16, 16, 2},
                              FormatRow{SampleFormat::pcm24, SF_FORMAT_PCM_24, 24, 3},
                              FormatRow{SampleFormat::float32, SF_FORMAT_FLOAT, 0, 4}};

struct ContainerRow {
  Container container;
  const char* name;
  int type;
  std::int64_t most_sound_bytes;
};
// A RIFF size has 32 bits; the library would wrap it round without a word. 64 KiB for the header.
constexpr std::array kContainers{
    ContainerRow{Container::wav, "WAV", SF_FORMAT_WAV, (std::int64_t{1} << 32) - (1 << 16)}};

const FormatRow& row_of(SampleFormat format) {
  return *std::find_if(kFormats.begin(), kFormats.end(),
                       [&](const FormatRow& row) { return row.format == format; });
}
const ContainerRow& row_of(Container container) {
  return *std::find_if(kContainers.begin(), kContainers.end(),
                       [&](const ContainerRow& row) { return row.container == container; });
}

std::int64_t most_frames(const ContainerRow& container, const FormatRow& format, int channels) {
  return container.most_sound_bytes / (std::int64_t{channels} * format.bytes);
}

Error cannot_write(const std::filesystem::path& file, std::string what, std::string next_step) {
  return {ErrorKind::cannot_write, file, std::move(what), std::move(next_step)};
}

/// The file descriptor under libsndfile: ours, so that closing it is checked.
class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() { close(); }
  int number() const { return number_; }
  bool is_open() const { return number_ >= 0; }
  /// False, with errno set, when the system could not store what was written.
  bool close() { return !is_open() || ::close(std::exchange(number_, -1)) == 0; }

 private:
  int number_;
};

}  // namespace

struct AudioWriter::State {
  State(std::filesystem::path name, const WriterOptions& options)
      : file(std::move(name)),
        part(file.string() + ".part"),
        format(row_of(options.format)),
        container(row_of(options.container)),
        channels(options.channels),
        descriptor(::open(part.c_str(), O_RDWR | O_CREAT | O_TRUNC | O_CLOEXEC, 0666)) {}
  State(const State&) = delete;
  State& operator=(const State&) = delete;
  ~State() {
    handle.reset();
    if (open_error == 0 && !finished) std::remove(part.c_str());
  }

  Result<void> open_handle(int rate_hz);
  bool store(std::span<const float> block);
  std::int32_t quantise(float sample);
  Error write_failure() const;

  std::filesystem::path file;
  std::filesystem::path part;
  const FormatRow& format;
  const ContainerRow& container;
  int channels;
  Descriptor descriptor;  // outlives the handle
  int open_error{descriptor.is_open() ? 0 : errno};
  bool finished{false};
  SndfileHandle handle;
  std::vector<std::int32_t> integers;
  std::vector<float> floats;  // as they are read again
  std::int64_t written{0};
  std::int64_t clipped{0};
};

Result<void> AudioWriter::State::open_handle(int rate_hz) {
  SF_INFO info{};
  info.samplerate = rate_hz;
  info.channels = channels;
  info.format = container.type | format.subtype;
  const std::lock_guard lock(sndfile_open_mutex());
  handle.reset(sf_open_fd(descriptor.number(), SFM_WRITE, &info, SF_FALSE));
  if (!handle)
    return cannot_write(file,
                        std::string("cannot be started (libsndfile: ") + sf_strerror(nullptr) + ")",
                        "choose another rate or format");
  // It would hold the time of day, and two equal runs would differ.
  sf_command(handle.get(), SFC_SET_ADD_PEAK_CHUNK, nullptr, SF_FALSE);
  return {};
}

/// Left-justified, as sf_writef_int takes it. The library's own conversion wraps or floors.
std::int32_t AudioWriter::State::quantise(float sample) {
  if (std::isnan(sample)) return 0;
  const double scale = std::ldexp(1.0, format.bits - 1);
  const double rounded = std::nearbyint(static_cast<double>(sample) * scale);
  const double kept = std::clamp(rounded, -scale, scale - 1.0);
  if (kept != rounded) ++clipped;
  return static_cast<std::int32_t>(kept) * (1 << (32 - format.bits));
}

bool AudioWriter::State::store(std::span<const float> block) {
  const sf_count_t frames = std::ssize(block) / channels;
  if (format.bits == 0) {
    floats.resize(block.size());
    std::transform(block.begin(), block.end(), floats.begin(),
                   [](float sample) { return std::isfinite(sample) ? sample : 0.0F; });
    return sf_writef_float(handle.get(), floats.data(), frames) == frames;
  }
  integers.resize(block.size());
  std::transform(block.begin(), block.end(), integers.begin(),
                 [this](float sample) { return quantise(sample); });
  floats.resize(block.size());
  std::transform(integers.begin(), integers.end(), floats.begin(),
                 [](std::int32_t whole) { return static_cast<float>(whole) * 0x1p-31F; });
  return sf_writef_int(handle.get(), integers.data(), frames) == frames;
}

Error AudioWriter::State::write_failure() const {
  return cannot_write(
      file, std::string("cannot be written (libsndfile: ") + sf_strerror(handle.get()) + ")",
      "make room on the disk, or choose another folder");
}

AudioWriter::AudioWriter(std::unique_ptr<State> state) : state_(std::move(state)) {}
AudioWriter::AudioWriter(AudioWriter&&) noexcept = default;
AudioWriter& AudioWriter::operator=(AudioWriter&&) noexcept = default;
AudioWriter::~AudioWriter() = default;

Result<AudioWriter> AudioWriter::create(const std::filesystem::path& file,
                                        const WriterOptions& options) {
  const double rate_hz = options.rate.hz;
  if (!(rate_hz >= 1.0 && rate_hz <= 1e9) || rate_hz != std::floor(rate_hz))
    return cannot_write(file, "its sample rate is no whole number of hertz",
                        "choose a rate such as 48000");
  auto state = std::make_unique<State>(file, options);
  if (state->open_error != 0)
    return cannot_write(file, "cannot be made (" + system_words(state->open_error) + ")",
                        "check that its folder exists and that you may write there");
  if (auto opened = state->open_handle(static_cast<int>(rate_hz)); !opened) return opened.error();
  return AudioWriter(std::move(state));
}

Result<void> AudioWriter::write(std::span<const float> interleaved) {
  assert(std::ssize(interleaved) % state_->channels == 0);
  const std::int64_t frames_after = state_->written + std::ssize(interleaved) / state_->channels;
  if (frames_after > most_frames(state_->container, state_->format, state_->channels))
    return cannot_write(state_->file,
                        std::string("a ") + state_->container.name + " file holds at most 4 GiB",
                        "write a shorter range, or fewer bits");
  if (!state_->store(interleaved)) return state_->write_failure();
  state_->written += std::ssize(interleaved) / state_->channels;
  return {};
}

Result<void> AudioWriter::finish() {
  State& state = *state_;
  if (sf_close(state.handle.release()) != 0)
    return cannot_write(state.file, "cannot be completed", "make room on the disk");
  if (!state.descriptor.close())
    return cannot_write(state.file, "cannot be completed (" + system_words(errno) + ")",
                        "make room on the disk, or choose another folder");
  std::error_code problem;
  std::filesystem::rename(state.part, state.file, problem);
  if (problem)
    return cannot_write(state.file, "cannot be put in place (" + problem.message() + ")",
                        "check what stands there, or choose another name");
  state.finished = true;
  return {};
}

Frames longest_file(const WriterOptions& options) {
  return {most_frames(row_of(options.container), row_of(options.format), options.channels)};
}

Frames AudioWriter::written() const { return {state_->written}; }
std::span<const float> AudioWriter::latest_as_read() const { return state_->floats; }
std::int64_t AudioWriter::clipped_samples() const { return state_->clipped; }

}  // namespace kilter::media

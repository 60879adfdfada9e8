#include "kilter/media/audio_writer.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cassert>
#include <cmath>
#include <limits>
#include <string>
#include <utility>
#include <vector>

#include "cue_chunks.h"
#include "kilter/base/file_output.h"
#include "kilter/base/system_words.h"
#include "quantiser.h"
#include "sound_sink.h"

namespace kilter::media {
namespace {

struct ContainerRow {
  Container container;
  const char* at_most;  // as a sentence
};
constexpr std::array kContainers{
    ContainerRow{Container::wav, "a WAV file holds at most 4 GiB"},
    ContainerRow{Container::rf64, "no RF64 file is read beyond 2^53 bytes"},
    ContainerRow{Container::flac, "a FLAC file holds at most 2^36 - 1 frames"}};

Error cannot_write(const std::filesystem::path& file, std::string what, std::string next_step) {
  return {ErrorKind::cannot_write, file, std::move(what), std::move(next_step)};
}

Error outgrown(const std::filesystem::path& file, Container container) {
  const auto* const row =
      std::find_if(kContainers.begin(), kContainers.end(),
                   [&](const ContainerRow& each) { return each.container == container; });
  return cannot_write(file, row->at_most, "write RF64, a shorter range, or fewer bits");
}

}  // namespace

struct AudioWriter::State {
  State(std::filesystem::path name, const WriterOptions& chosen)
      : file(std::move(name)),
        options(chosen),
        format(facts_of(options.format)),
        most_frames(longest_file(options).n),
        output(file) {}

  Result<void> open_sink();
  bool store(std::span<const float> block, Rounding rounding);
  void quantise_block(std::span<const float> block, Rounding rounding, std::span<float> as_read);
  void take_floats(std::span<const float> block, std::span<float> as_read);
  Error failure(const std::string& what) const;

  std::filesystem::path file;
  WriterOptions options;
  FormatFacts format;
  std::int64_t most_frames;
  FileOutput output;  // outlives the sink
  std::unique_ptr<SoundSink> sink;
  std::vector<std::int32_t> stored;  // as the format stores them
  std::vector<float> floats;         // as they are read again
  std::int64_t written{0};
  std::int64_t clipped{0};
  std::int64_t cues_left_out{0};
  bool ended{false};
};

Result<void> AudioWriter::State::open_sink() {
  if (options.container != Container::flac) {
    sink = make_riff_sink(options, output);
    return {};
  }
  std::string words;
  sink = make_flac_sink(options, output, words);
  if (!sink)
    return cannot_write(file, "cannot be started (libsndfile: " + words + ")",
                        "choose another rate or format");
  return {};
}

void AudioWriter::State::quantise_block(std::span<const float> block, Rounding rounding,
                                        std::span<float> as_read) {
  const auto first = static_cast<std::uint64_t>(written * options.channels) +
                     static_cast<std::uint64_t>(as_read.data() - floats.data());
  clipped += rounding == Rounding::exact
                 ? quantise(block, format.bits, stored.data())
                 : quantise_dithered(block, format.bits, options.dither_seed, first, stored.data());
  const float step = 1.0F / static_cast<float>(1 << (format.bits - 1));
  for (std::size_t i = 0; i < block.size(); ++i) as_read[i] = static_cast<float>(stored[i]) * step;
}

void AudioWriter::State::take_floats(std::span<const float> block, std::span<float> as_read) {
  constexpr float kLargest = std::numeric_limits<float>::max();
  for (std::size_t i = 0; i < block.size(); ++i) {
    as_read[i] = std::fabs(block[i]) <= kLargest ? block[i] : 0.0F;
    stored[i] = std::bit_cast<std::int32_t>(as_read[i]);
  }
}

bool AudioWriter::State::store(std::span<const float> block, Rounding rounding) {
  const auto channels = static_cast<std::size_t>(options.channels);
  const std::size_t block_size = kMostAtOnce / channels * channels;
  floats.resize(block.size());
  stored.resize(std::min(block.size(), block_size));
  for (std::size_t at = 0; at < block.size(); at += block_size) {
    const auto part = block.subspan(at, std::min(block_size, block.size() - at));
    const auto as_read = std::span(floats).subspan(at, part.size());
    if (format.is_float)
      take_floats(part, as_read);
    else
      quantise_block(part, rounding, as_read);
    if (!sink->write(std::span(stored).first(part.size()))) return false;
  }
  written += std::ssize(block) / options.channels;
  return true;
}

Error AudioWriter::State::failure(const std::string& what) const {
  const std::string why =
      output.problem() != 0 ? system_words(output.problem()) : "libsndfile: " + sink->words();
  return cannot_write(file, what + " (" + why + ")",
                      "make room on the disk, or choose another folder");
}

AudioWriter::AudioWriter(std::unique_ptr<State> state) : state_(std::move(state)) {}
AudioWriter::AudioWriter(AudioWriter&&) noexcept = default;
AudioWriter& AudioWriter::operator=(AudioWriter&&) noexcept = default;
AudioWriter::~AudioWriter() = default;

Result<AudioWriter> AudioWriter::create(const std::filesystem::path& file,
                                        const WriterOptions& options) {
  if (auto error = refusal(options, file)) return *std::move(error);
  auto state = std::make_unique<State>(file, options);
  if (!state->output.is_open())
    return cannot_write(file, "cannot be made (" + system_words(state->output.problem()) + ")",
                        "check that its folder exists and that you may write there");
  if (auto opened = state->open_sink(); !opened) return opened.error();
  return AudioWriter(std::move(state));
}

Result<void> AudioWriter::write(std::span<const float> interleaved, Rounding rounding) {
  State& state = *state_;
  assert(!state.ended);
  assert(std::ssize(interleaved) % state.options.channels == 0);
  if (state.written + std::ssize(interleaved) / state.options.channels > state.most_frames)
    return outgrown(state.file, state.options.container);
  if (!state.store(interleaved, rounding)) return state.failure("cannot be written");
  return {};
}

Result<void> AudioWriter::end() {
  State& state = *state_;
  if (state.ended) return {};
  if (!state.sink->finish({state.written}) || !state.output.hand_over())
    return state.failure("cannot be completed");
  state.ended = true;
  state.stored = std::vector<std::int32_t>();
  state.floats = std::vector<float>();
  return {};
}

Result<void> AudioWriter::finish() {
  State& state = *state_;
  if (auto ended = end(); !ended) return ended;
  if (!state.output.complete()) return state.failure("cannot be completed");
  if (!state.output.put_in_place())
    return cannot_write(state.file,
                        "cannot be put in place (" + system_words(state.output.problem()) + ")",
                        "check what stands there, or choose another name");
  if (state.options.notes) {
    const auto& cues = state.options.notes->cues;
    const bool has_cues = state.options.container != Container::flac;
    state.cues_left_out =
        std::ssize(cues) - (has_cues ? std::ssize(cues_within(cues, {state.written})) : 0);
  }
  return {};
}

Frames AudioWriter::written() const { return {state_->written}; }
std::span<const float> AudioWriter::latest_as_read() const { return state_->floats; }
std::int64_t AudioWriter::clipped_samples() const { return state_->clipped; }
std::int64_t AudioWriter::cues_left_out() const { return state_->cues_left_out; }

}  // namespace kilter::media

#include "kilter/media/file_ends.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstring>
#include <memory>
#include <string>
#include <system_error>
#include <utility>

#include "container_names.h"
#include "reading_limits.h"
#include "sndfile_input.h"

namespace kilter::media {
namespace {

// iXML of a recorder is a few kilobytes; more is no time stamp.
constexpr std::uint32_t kLargestText = 1U << 20U;

struct OpenHandle {
  std::unique_ptr<SndfileInput> input;  // outlives the handle, which reads through it
  SndfileHandle handle;
  SF_INFO header{};
};

/// Nothing for what is no file to read so; `disk` is then why the disk did not give it, or 0.
std::optional<OpenHandle> open_quietly(const std::filesystem::path& file, int& disk) {
  disk = 0;
  std::error_code problem;
  if (!std::filesystem::is_regular_file(file, problem)) return std::nullopt;
  auto input = std::make_shared<FileInput>(file);
  // Neither stamp nor an exact end; and its decoder prints.
  const bool is_mp3 = input->is_open() && container_name(head_of(*input)) == "MP3";
  disk = input->problem();
  if (disk != 0 || is_mp3) return std::nullopt;
  OpenHandle open;
  open.input = std::make_unique<SndfileInput>(std::move(input));
  std::string words;
  open.handle = open.input->open(open.header, words);
  disk = open.input->file().problem();
  if (!open.handle || open.header.channels < 1 || open.header.samplerate < 1) return std::nullopt;
  return open;
}

template <std::size_t N>
std::string text_of(const char (&field)[N]) {
  return {field, strnlen(field, N)};
}

std::optional<StartStamp> from_bext(const OpenHandle& open) {
  SF_BROADCAST_INFO info{};
  if (sf_command(open.handle.get(), SFC_GET_BROADCAST_INFO, &info, sizeof info) != SF_TRUE)
    return std::nullopt;
  const std::uint64_t frames =
      (std::uint64_t{info.time_reference_high} << 32U) | info.time_reference_low;
  return StartStamp{static_cast<std::int64_t>(frames),
                    {static_cast<double>(open.header.samplerate)},
                    text_of(info.origination_date)};
}

/// What stands between <name> and </name>, once: recorders write these elements without attributes.
std::optional<std::int64_t> number_in(std::string_view xml, std::string_view name) {
  const std::string opening = '<' + std::string(name) + '>';
  const std::size_t at = xml.find(opening);
  if (at == std::string_view::npos) return std::nullopt;
  std::string_view rest = xml.substr(at + opening.size());
  rest.remove_prefix(std::min(rest.find_first_not_of(" \t\r\n"), rest.size()));
  std::int64_t value = 0;
  const auto read = std::from_chars(rest.data(), rest.data() + rest.size(), value);
  if (read.ec != std::errc{} || value < 0) return std::nullopt;
  return value;
}

std::string chunk_text(const OpenHandle& open, const char* id) {
  SF_CHUNK_INFO chunk{};
  chunk.id_size = static_cast<unsigned>(std::strlen(id));
  std::memcpy(chunk.id, id, chunk.id_size);
  SF_CHUNK_ITERATOR* const found = sf_get_chunk_iterator(open.handle.get(), &chunk);
  if (found == nullptr || sf_get_chunk_size(found, &chunk) != SF_ERR_NO_ERROR) return {};
  if (chunk.datalen == 0 || chunk.datalen > kLargestText) return {};
  std::string text(chunk.datalen, '\0');
  chunk.data = text.data();
  return sf_get_chunk_data(found, &chunk) == SF_ERR_NO_ERROR ? text : std::string();
}

std::optional<StartStamp> from_ixml(const OpenHandle& open) {
  const std::string xml = chunk_text(open, "iXML");
  const auto high = number_in(xml, "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI");
  const auto low = number_in(xml, "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO");
  if (!low || *low > 0xFFFFFFFFLL || high.value_or(0) > 0x7FFFFFFFLL) return std::nullopt;
  const auto rate = number_in(xml, "TIMESTAMP_SAMPLE_RATE");
  const double rate_hz = rate.value_or(0) > 0 ? static_cast<double>(*rate) : open.header.samplerate;
  return StartStamp{(high.value_or(0) << 32) + *low, {rate_hz}, {}};
}

/// Midnight is what is written by who knows no time; more than two days is no time of day.
bool is_a_time(const std::optional<StartStamp>& stamp) {
  return stamp && stamp->since_midnight_frames > 0 && stamp->of_day_s() < 2.0 * 86400.0;
}

std::optional<StartStamp> stamp_of(const OpenHandle& open) {
  if (auto stamp = from_bext(open); is_a_time(stamp)) return stamp;
  if (auto stamp = from_ixml(open); is_a_time(stamp)) return stamp;
  return std::nullopt;
}

bool has_an_end_to_go_to(const SF_INFO& header) {
  constexpr std::array kContainers{SF_FORMAT_WAV,  SF_FORMAT_WAVEX, SF_FORMAT_RF64, SF_FORMAT_W64,
                                   SF_FORMAT_AIFF, SF_FORMAT_CAF,   SF_FORMAT_FLAC};
  constexpr std::array kEncodings{SF_FORMAT_PCM_S8, SF_FORMAT_PCM_U8, SF_FORMAT_PCM_16,
                                  SF_FORMAT_PCM_24, SF_FORMAT_PCM_32, SF_FORMAT_FLOAT,
                                  SF_FORMAT_DOUBLE};
  const auto has = [](const auto& list, int value) {
    return std::find(list.begin(), list.end(), value) != list.end();
  };
  return header.seekable != 0 && header.frames > 0 &&
         has(kContainers, header.format & SF_FORMAT_TYPEMASK) &&
         has(kEncodings, header.format & SF_FORMAT_SUBMASK);
}

std::vector<float> frames_at(const OpenHandle& open, std::int64_t first, std::int64_t count) {
  const auto channels = static_cast<std::size_t>(open.header.channels);
  std::vector<float> frames(static_cast<std::size_t>(count) * channels);
  if (sf_seek(open.handle.get(), first, SEEK_SET) != first) return {};
  const sf_count_t got = sf_readf_float(open.handle.get(), frames.data(), count);
  frames.resize(static_cast<std::size_t>(std::max<sf_count_t>(got, 0)) * channels);
  for (float& sample : frames)
    if (!std::isfinite(sample)) sample = 0.0F;
  return frames;
}

}  // namespace

std::optional<StartStamp> read_start_stamp(const std::filesystem::path& file) {
  auto stamp = find_start_stamp(file);
  return stamp ? *std::move(stamp) : std::nullopt;
}

Result<std::optional<StartStamp>> find_start_stamp(const std::filesystem::path& file) {
  std::optional<StartStamp> stamp;
  int disk = 0;
  if (const auto open = open_quietly(file, disk)) {
    stamp = stamp_of(*open);
    disk = open->input->file().problem();
  }
  if (disk != 0) return not_to_be_read(file, disk);
  return stamp;
}

std::optional<FileEnds> read_file_ends(const std::filesystem::path& file, Frames frames) {
  int disk = 0;
  const auto open = open_quietly(file, disk);
  if (!open || !has_an_end_to_go_to(open->header)) return std::nullopt;
  FileEnds ends;
  ends.format = open->header.format;
  ends.rate = {static_cast<double>(open->header.samplerate)};
  ends.channels = open->header.channels;
  ends.length = {open->header.frames};
  ends.stamp = stamp_of(*open);
  std::error_code problem;
  ends.bytes = std::filesystem::file_size(file, problem);
  if (problem) return std::nullopt;
  const std::int64_t count = std::min(frames.n, ends.length.n);
  ends.head = frames_at(*open, 0, count);
  ends.tail = frames_at(*open, ends.length.n - count, count);
  if (open->input->file().problem() != 0) return std::nullopt;
  return ends;
}

}  // namespace kilter::media

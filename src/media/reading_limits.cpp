#include "reading_limits.h"

#include <utility>

#include "kilter/base/system_words.h"

namespace kilter::media {
namespace {

constexpr int kMostChannels = 64;
constexpr int kLowestRateHz = 1000;
constexpr int kHighestRateHz = 768000;
constexpr const char* kCopyAgain =
    "check the disk that it lies on, and copy it again from where it was recorded";

}  // namespace

Error unreadable(const std::filesystem::path& file, std::string what, std::string next_step) {
  return {ErrorKind::unreadable, file, std::move(what), std::move(next_step)};
}

std::optional<Error> beyond_limits(const std::filesystem::path& file, int rate_hz, int channels) {
  if (channels < 1 || channels > kMostChannels)
    return unreadable(file, "it has " + std::to_string(channels) + " channels",
                      "split it into files of at most " + std::to_string(kMostChannels));
  if (rate_hz < kLowestRateHz || rate_hz > kHighestRateHz)
    return unreadable(file, "its sample rate is " + std::to_string(rate_hz) + " Hz",
                      "check the file: rates from 1 kHz to 768 kHz are read");
  return std::nullopt;
}

Error too_long(const std::filesystem::path& file) {
  return unreadable(file, "it is longer than 48 hours", "check the file, or cut it into days");
}

Error damaged(const std::filesystem::path& file, std::int64_t frame, const std::string& words) {
  return unreadable(file,
                    "cannot be decoded beyond frame " + std::to_string(frame) + " (" + words + ")",
                    "copy it again from where it was recorded: this copy is damaged");
}

Error not_to_be_opened(const std::filesystem::path& file, int code) {
  return unreadable(file, "it cannot be opened (" + system_words(code) + ")",
                    "check that you may read it");
}

Error not_to_be_read(const std::filesystem::path& file, int code) {
  return unreadable(file, "it cannot be read (" + system_words(code) + ")", kCopyAgain);
}

Error not_read_everywhere(const std::filesystem::path& file, int code) {
  return unreadable(file,
                    "part of it could not be read when it was looked through (" +
                        system_words(code) + "), so that nothing tells whether its sound is whole",
                    kCopyAgain);
}

std::int64_t sensible_length(std::int64_t frames, int rate_hz) {
  return frames > 0 && frames / rate_hz < kLongest_s ? frames : 0;
}

}  // namespace kilter::media

// What readers accept, and how they say what they do not.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

#include "kilter/base/result.h"

namespace kilter::media {

// No session lasts as long: a longer claim is damage, and longer sound would cost hours.
inline constexpr std::int64_t kLongest_s = 48 * 3600;

Error unreadable(const std::filesystem::path& file, std::string what, std::string next_step);
/// A rate or a number of channels outside what is read: 1 kHz to 768 kHz, 1 to 64 channels.
std::optional<Error> beyond_limits(const std::filesystem::path& file, int rate_hz, int channels);
Error too_long(const std::filesystem::path& file);
/// Where sound breaks off; `words` are the library's.
Error damaged(const std::filesystem::path& file, std::int64_t frame, const std::string& words);
/// What the system's `code` says of a file that cannot be opened, or be read.
Error not_to_be_opened(const std::filesystem::path& file, int code);
Error not_to_be_read(const std::filesystem::path& file, int code);
/// Told behind all sound of a file of which a look before failed.
Error not_read_everywhere(const std::filesystem::path& file, int code);
/// A claim in frames; 0 where it is none that can be true.
std::int64_t sensible_length(std::int64_t frames, int rate_hz);

}  // namespace kilter::media

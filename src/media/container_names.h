// Containers that libsndfile does not read, or not all of, known by their first bytes.
#pragma once

#include <optional>
#include <string>

#include "kilter/base/file_input.h"

namespace kilter::media {

/// As many of the file's first bytes as the functions below look at, where it has so many.
std::string head_of(FileInput& file);

/// "MP4", "Matroska", "WMA" and the like, or nothing.
std::optional<std::string> container_name(const std::string& head);
/// What kind of sound or video it begins like, of more kinds than are read; nothing for
/// photographs, text and all else.
std::optional<std::string> sound_name(const std::string& head);
/// Whether libsndfile reads files of that name, where they are whole.
bool sndfile_reads(const std::string& container);

/// Whether it is a W64 file of floats under the extensible tag, which libsndfile takes for
/// integers.
bool is_w64_of_extensible_floats(const std::string& head);

}  // namespace kilter::media

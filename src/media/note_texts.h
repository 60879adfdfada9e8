// Texts of strangers in forms that no reader of a sound file stumbles over.
#pragma once

#include <string>
#include <string_view>

namespace kilter::media {

/// UTF-8 on one line: U+FFFD for each broken byte and for what no XML may hold, a blank for each
/// control character.
std::string one_line(std::string_view text);

/// ASCII on one line: letters without their accents (U+00C0 to U+017F, and combining ones), "ss",
/// "ae" and the like spelt out, plain quotes, dashes and blanks; '?' for each other letter.
std::string ascii_line(std::string_view text);

/// Lines of ASCII, each ended by CR LF, from lines ended by LF, CR LF or CR; empty ones left out.
std::string ascii_lines(std::string_view text);

/// one_line() with what XML would read as markup escaped.
std::string xml_text(std::string_view text);

}  // namespace kilter::media

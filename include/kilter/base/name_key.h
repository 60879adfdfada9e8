// Which names a file system may take for one.
#pragma once

#include <string>
#include <string_view>

namespace kilter {

/// Equal for two names in UTF-8 where a file system that does not tell capital letters from small
/// ones, or an accented letter from a letter with an accent behind it (Unicode's forms NFC and
/// NFD), has one file for both. Errs towards equal: accents do not count at all, so "Emile" and
/// "Émile" have one key. Covers Latin, Greek, Cyrillic, Arabic, kana and Hangul; in other scripts
/// names count as different unless their bytes are the same.
std::u32string name_key(std::string_view name);

}  // namespace kilter

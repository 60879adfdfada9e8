// What every fuzz target is made of. A target is one file that defines try_input(): it makes
// something of the bytes, has the program read it, and requires what the program promises.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

#include "input.h"
#include "kilter/base/result.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace kilter::fuzz {

/// Defined by the target. Any exception that leaves it is a crash.
void try_input(Input input);

/// Ends the program, as a crash does, where what was promised is not so.
void require(bool held, std::string_view promise);

/// Requires what is owed to whoever reads an error: what is wrong, and what to do next.
void require_clear(const Error& error);

/// A folder of this process, removed at its end. What a target leaves there is there at its next
/// input.
const std::filesystem::path& folder();

/// Writes a file there and gives its path. Ends the program where that fails.
std::filesystem::path put_file(const std::string& name, std::string_view bytes);

}  // namespace kilter::fuzz

// RIFF/WAVE and RF64 as their specifications have them, read without any code of the writer's.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace kilter::test {

struct RiffChunk {
  std::string id;
  std::uint64_t size{0};
  std::string bytes;  // at most the first 1 MiB
};

struct RiffFile {
  std::string form;               // "RIFF" or "RF64"; empty where the file is none
  std::vector<RiffChunk> chunks;  // all of the file, but for `ds64`
  std::uint64_t sample_count{0};  // of `ds64`
  bool ends_at_its_size{false};   // the sizes of chunks and file agree to the byte

  std::vector<std::string> ids() const;
  /// What the first chunk of that name holds; fails the test where there is none.
  std::string bytes_of(const std::string& id) const;
};

RiffFile read_riff(const std::filesystem::path& file);

/// The unsigned little-endian number at `offset`.
std::uint64_t number_at(const std::string& bytes, std::size_t offset, int size);
/// Up to the first NUL, at most `size` bytes.
std::string text_at(const std::string& bytes, std::size_t offset, std::size_t size);

}  // namespace kilter::test

#include "riff_reader.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>

namespace kilter::test {
namespace {

constexpr std::uint64_t kSeeDs64 = 0xFFFFFFFFU;

std::string read_bytes(std::ifstream& in, std::uint64_t count) {
  std::string bytes(static_cast<std::size_t>(count), '\0');
  in.read(bytes.data(), static_cast<std::streamsize>(count));
  bytes.resize(static_cast<std::size_t>(in.gcount()));
  return bytes;
}

}  // namespace

std::vector<std::string> RiffFile::ids() const {
  std::vector<std::string> all;
  for (const RiffChunk& chunk : chunks) all.push_back(chunk.id);
  return all;
}

std::string RiffFile::bytes_of(const std::string& id) const {
  for (const RiffChunk& chunk : chunks)
    if (chunk.id == id) return chunk.bytes;
  ADD_FAILURE() << "no chunk " << id;
  return {};
}

std::uint64_t number_at(const std::string& bytes, std::size_t offset, int size) {
  std::uint64_t number = 0;
  for (int i = size - 1; i >= 0; --i)
    number =
        number * 256U + static_cast<unsigned char>(bytes.at(offset + static_cast<std::size_t>(i)));
  return number;
}

std::string text_at(const std::string& bytes, std::size_t offset, std::size_t size) {
  const std::string field = bytes.substr(offset, size);
  return field.substr(0, field.find('\0'));
}

RiffFile read_riff(const std::filesystem::path& file) {
  RiffFile riff;
  std::ifstream in(file, std::ios::binary);
  const std::uint64_t length = std::filesystem::file_size(file);
  const std::string start = read_bytes(in, 12);
  if (start.size() < 12 || start.substr(8) != "WAVE") return riff;
  riff.form = start.substr(0, 4);
  std::uint64_t riff_size = number_at(start, 4, 4);
  std::uint64_t data_size = 0;
  std::uint64_t at = 12;
  while (at + 8 <= length) {
    in.seekg(static_cast<std::streamoff>(at));
    const std::string header = read_bytes(in, 8);
    RiffChunk chunk{header.substr(0, 4), number_at(header, 4, 4), {}};
    if (riff.form == "RF64" && chunk.id == "data" && chunk.size == kSeeDs64) chunk.size = data_size;
    chunk.bytes = read_bytes(in, std::min<std::uint64_t>(chunk.size, 1U << 20U));
    at += 8 + chunk.size + chunk.size % 2;
    if (chunk.id == "ds64") {
      EXPECT_EQ(riff_size, kSeeDs64);
      EXPECT_TRUE(riff.chunks.empty()) << "ds64 comes first";
      EXPECT_EQ(number_at(chunk.bytes, 24, 4), 0U) << "entries of its table";
      riff_size = number_at(chunk.bytes, 0, 8);
      data_size = number_at(chunk.bytes, 8, 8);
      riff.sample_count = number_at(chunk.bytes, 16, 8);
    } else {
      riff.chunks.push_back(std::move(chunk));
    }
  }
  riff.ends_at_its_size = at == length && riff_size + 8 == length;
  return riff;
}

}  // namespace kilter::test

#include "bext_chunk.h"

#include <cstddef>
#include <cstdint>
#include <string_view>

#include "little_endian.h"
#include "note_texts.h"

namespace kilter::media {
namespace {

constexpr int kVersion = 2;
constexpr std::size_t kUmidBytes = 64;
constexpr int kLoudnessFields = 5;
constexpr std::uint64_t kNotStated = 0x7FFF;
constexpr std::size_t kReservedBytes = 180;

/// Cut, or filled up with NUL.
void put_field(std::string& out, std::string_view text, std::size_t bytes) {
  const std::string ascii = ascii_line(text).substr(0, bytes);
  out += ascii;
  out.append(bytes - ascii.size(), '\0');
}

}  // namespace

std::string bext_content(const BroadcastNotes& notes) {
  std::string content;
  put_field(content, notes.description, 256);
  put_field(content, notes.originator, 32);
  put_field(content, notes.originator_reference, 32);
  put_field(content, notes.origination_date, 10);
  put_field(content, notes.origination_time, 8);
  put_64(content, static_cast<std::uint64_t>(notes.time_reference.n));
  put_16(content, kVersion);
  content.append(kUmidBytes, '\0');
  for (int i = 0; i < kLoudnessFields; ++i) put_16(content, kNotStated);
  content.append(kReservedBytes, '\0');
  content += ascii_lines(notes.coding_history);
  if (content.size() % 2 != 0) content += '\0';
  return content;
}

}  // namespace kilter::media

// Bytes taken apart into values. Every string of bytes gives some, and where they end all further
// ones are nothing: 0, false, an empty text.
#pragma once

#include <cstddef>
#include <cstdint>
#include <iterator>
#include <string>
#include <string_view>

namespace kilter::fuzz {

class Input {
 public:
  Input(const std::uint8_t* data, std::size_t size)
      : rest_(size == 0 ? "" : reinterpret_cast<const char*>(data), size) {}

  bool is_empty() const { return rest_.empty(); }
  std::uint8_t byte();
  bool flag() { return (byte() & 1U) != 0; }
  /// From `low` to `high`, both among them; one byte for up to 256 of them, else four.
  int whole(int low, int high);
  /// From `low` to `high`, evenly, out of four bytes.
  double number(double low, double high);
  /// Any there is: a small whole one, one from the edges of what doubles hold (no number at all
  /// among them), one of a size that people write, or eight bytes as they are.
  double any_number();
  /// A byte that says how long it is, and the text; no longer than `most`.
  std::string text(std::size_t most = 255);
  std::uint64_t bits();
  /// All that is left.
  std::string_view rest();

  template <typename Values>
  auto one_of(const Values& values) {
    return values[static_cast<std::size_t>(whole(0, static_cast<int>(std::size(values)) - 1))];
  }

 private:
  std::string_view rest_;
};

}  // namespace kilter::fuzz

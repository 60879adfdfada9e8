#include "fuzz.h"

#include <cstdio>
#include <cstdlib>
#include <fstream>

#include "support/temporary_folder.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  kilter::fuzz::try_input(kilter::fuzz::Input(data, size));
  return 0;
}

namespace kilter::fuzz {

void require(bool held, std::string_view promise) {
  if (held) return;
  std::fprintf(stderr, "not so: %.*s\n", static_cast<int>(promise.size()), promise.data());
  std::abort();
}

void require_clear(const Error& error) {
  require(error.kind != ErrorKind::bug, "an input is no bug of ours");
  require(!error.what.empty(), "an error says what is wrong");
  require(!error.next_step.empty(), "an error says what to do next");
}

const std::filesystem::path& folder() {
  static const test::TemporaryFolder own;
  return own.path();
}

std::filesystem::path put_file(const std::string& name, std::string_view bytes) {
  const std::filesystem::path file = folder() / name;
  std::ofstream out(file, std::ios::binary);
  out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  out.close();
  require(!out.fail(), "there is room for the input");
  return file;
}

}  // namespace kilter::fuzz

#pragma once

#include <filesystem>
#include <string>

namespace kilter::test {

/// An empty folder of its own, removed with all it holds.
class TemporaryFolder {
 public:
  TemporaryFolder();
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  ~TemporaryFolder();

  const std::filesystem::path& path() const { return path_; }
  std::filesystem::path operator/(const std::string& name) const { return path_ / name; }

 private:
  std::filesystem::path path_;
};

void write_text(const std::filesystem::path& file, const std::string& text);
/// The whole file, or "" where it cannot be read.
std::string read_text(const std::filesystem::path& file);

}  // namespace kilter::test

// A folder for one test, removed with it.
#pragma once

#include <gtest/gtest.h>

#include <filesystem>
#include <string>

namespace kilter {

class TempFolder {
 public:
  TempFolder() {
    std::string pattern =
        (std::filesystem::path(testing::TempDir()) / "kilter-test-XXXXXX").string();
    if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary folder");
    path_ = pattern;
  }
  TempFolder(const TempFolder&) = delete;
  TempFolder& operator=(const TempFolder&) = delete;
  ~TempFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  const std::filesystem::path& path() const { return path_; }
  std::filesystem::path operator/(const std::string& name) const { return path_ / name; }

 private:
  std::filesystem::path path_;
};

}  // namespace kilter

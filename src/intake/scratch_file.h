// A temporary file without a name.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>

#include "kilter/base/byte_store.h"
#include "kilter/base/file_calls.h"
#include "kilter/base/result.h"

namespace kilter::intake {

/// `wanted`, or where that is empty the system's folder for temporary files. Fails (cannot_write)
/// where the system has none.
Result<std::filesystem::path> scratch_folder(const std::filesystem::path& wanted);

/// It vanishes with the process too, however that ends.
class ScratchFile final : public ByteStore {
 public:
  /// Fails (cannot_write) when no file can be made in `folder`.
  static Result<std::unique_ptr<ScratchFile>> create(const std::filesystem::path& folder);
  ~ScratchFile() override;

  Result<void> write(std::int64_t at, std::span<const std::byte> bytes) override;
  Result<void> read(std::int64_t at, std::span<std::byte> out) const override;

 private:
  ScratchFile(int descriptor, std::filesystem::path folder)
      : descriptor_(descriptor), folder_(std::move(folder)) {}

  FileCalls& calls_{file_calls()};
  int descriptor_;
  std::filesystem::path folder_;  // for messages
};

}  // namespace kilter::intake

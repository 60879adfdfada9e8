// Room outside of memory, for what grows with a session's length.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <span>

#include "kilter/base/result.h"

namespace kilter {

/// Bytes at places from 0 on, which vanish with it. Safe from any thread for places that do not
/// overlap.
class ByteStore {
 public:
  ByteStore() = default;
  ByteStore(const ByteStore&) = delete;
  ByteStore& operator=(const ByteStore&) = delete;
  virtual ~ByteStore() = default;

  /// Fails (cannot_write) where there is no more room.
  virtual Result<void> write(std::int64_t at, std::span<const std::byte> bytes) = 0;
  /// What was written there. Fails (unreadable) where it does not come back.
  virtual Result<void> read(std::int64_t at, std::span<std::byte> out) const = 0;
};

/// Makes one. Safe from any thread. Empty: there is no such room, and memory must do.
using OpenByteStore = std::function<Result<std::unique_ptr<ByteStore>>()>;

}  // namespace kilter

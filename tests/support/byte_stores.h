// Stores in memory, which can be made to fail.
#pragma once

#include <algorithm>
#include <mutex>
#include <vector>

#include "kilter/base/byte_store.h"

namespace kilter::test {

/// Outlives the stores that it opens.
class ByteStores {
 public:
  OpenByteStore opener() {
    return [this]() -> Result<std::unique_ptr<ByteStore>> {
      const std::lock_guard lock(mutex_);
      ++opened_;
      if (writes_fail_) return no_room();
      return std::unique_ptr<ByteStore>(new Store(*this));
    };
  }
  int opened() const { return opened_; }
  void fail_writes() { writes_fail_ = true; }
  void fail_reads() { reads_fail_ = true; }

 private:
  class Store final : public ByteStore {
   public:
    explicit Store(ByteStores& all) : all_(all) {}
    Result<void> write(std::int64_t at, std::span<const std::byte> bytes) override {
      const std::lock_guard lock(all_.mutex_);
      if (all_.writes_fail_) return no_room();
      const auto place = static_cast<std::size_t>(at);
      held_.resize(std::max(held_.size(), place + bytes.size()));
      std::copy(bytes.begin(), bytes.end(), held_.begin() + at);
      return {};
    }
    Result<void> read(std::int64_t at, std::span<std::byte> out) const override {
      const std::lock_guard lock(all_.mutex_);
      if (all_.reads_fail_ || static_cast<std::size_t>(at) + out.size() > held_.size())
        return Error{ErrorKind::unreadable, {}, "it does not come back", ""};
      std::copy_n(held_.begin() + at, out.size(), out.begin());
      return {};
    }

   private:
    ByteStores& all_;
    std::vector<std::byte> held_;
  };

  static Error no_room() { return {ErrorKind::cannot_write, {}, "there is no room", ""}; }

  std::mutex mutex_;
  int opened_{0};
  bool writes_fail_{false};
  bool reads_fail_{false};
};

}  // namespace kilter::test

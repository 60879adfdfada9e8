#pragma once

#include <filesystem>
#include <utility>

namespace kilter::conform {

/// Holds a folder for this process as long as the object lives: the system lets go of it even where
/// the process is killed, so that a folder which nobody holds was left behind.
class FolderLock {
 public:
  enum class State {
    held,     ///< by this object
    busy,     ///< by somebody else
    unknown,  ///< the file system cannot tell, or there is no such folder
  };

  FolderLock() = default;
  /// Does not wait.
  explicit FolderLock(const std::filesystem::path& folder);
  FolderLock(FolderLock&& other) noexcept
      : descriptor_(std::exchange(other.descriptor_, -1)), state_(other.state_) {}
  FolderLock& operator=(FolderLock&& other) noexcept {
    std::swap(descriptor_, other.descriptor_);
    std::swap(state_, other.state_);
    return *this;
  }
  ~FolderLock();

  State state() const { return state_; }

 private:
  int descriptor_{-1};
  State state_{State::unknown};
};

}  // namespace kilter::conform

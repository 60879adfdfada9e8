// Files that several tracks read side by side, each decoded once.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <memory>
#include <span>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/media/audio_file.h"

namespace kilter::conform {

class SharedFile;

/// One channel of a file, from its first frame on. Readers of one file may be used by different
/// threads, each by one at a time.
class ChannelReader {
 public:
  /// `channel` from 1.
  ChannelReader(std::shared_ptr<SharedFile> file, int channel);
  ChannelReader(const ChannelReader&) = delete;
  ChannelReader& operator=(const ChannelReader&) = delete;
  ~ChannelReader();

  const std::filesystem::path& path() const;
  /// Opens the file where nobody has yet. Fails (unreadable) as open_audio() does, or where it has
  /// no such channel.
  Result<media::AudioInfo> open();
  /// The next frames, after open(): fewer than asked wherever a decoded block ends, 0 only at the
  /// file's end. Fails (unreadable) where the sound breaks off damaged.
  Result<std::int64_t> read(std::span<float> out);

 private:
  friend class SharedFile;
  Result<void> catch_up();

  std::shared_ptr<SharedFile> file_;
  std::size_t channel_;
  std::vector<float> waiting_;  // decoded and not read yet, from taken_ on
  std::size_t taken_{0};
  std::int64_t received_{0};
  bool left_behind_{false};
};

/// Readers of the same file share its decoding as long as none falls more than a million frames
/// behind; one that does goes on with a decoder of its own. All readers are made before the first
/// of them reads. Memory: a block and what waits for those behind, 4 MB for each at most.
class SharedFiles {
 public:
  explicit SharedFiles(std::filesystem::path folder);
  /// `file` relative to the folder, or absolute.
  std::unique_ptr<ChannelReader> reader(const std::string& file, int channel);

 private:
  std::filesystem::path folder_;
  std::map<std::filesystem::path, std::shared_ptr<SharedFile>> files_;
};

}  // namespace kilter::conform

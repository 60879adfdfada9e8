#include "shared_files.h"

#include <algorithm>
#include <mutex>
#include <optional>
#include <string>
#include <utility>

namespace kilter::conform {
namespace {

constexpr std::int64_t kBlock = 4096;
constexpr std::size_t kMostWaiting = std::size_t{1} << 20;

}  // namespace

class SharedFile {
 public:
  explicit SharedFile(std::filesystem::path path) : path_(std::move(path)) {}

  const std::filesystem::path& path() const { return path_; }

  void add(ChannelReader& reader) {
    const std::lock_guard lock(mutex_);
    readers_.push_back(&reader);
  }
  void remove(const ChannelReader& reader) {
    const std::lock_guard lock(mutex_);
    std::erase(readers_, &reader);
  }

  Result<media::AudioInfo> open() {
    const std::lock_guard lock(mutex_);
    if (!source_ && !failure_) {
      auto audio = media::open_audio(path_);
      if (audio) {
        info_ = audio->info;
        source_ = std::move(audio->source);
        interleaved_.resize(static_cast<std::size_t>(kBlock * source_->channels()));
      } else {
        failure_ = audio.error();
      }
    }
    if (!source_) return *failure_;
    return info_;
  }

  /// What waits for `reader`, after decoding another block where nothing does: nothing at the end.
  Result<std::int64_t> read(ChannelReader& reader, std::span<float> out) {
    const std::lock_guard lock(mutex_);
    if (reader.taken_ == reader.waiting_.size() && !reader.left_behind_)
      if (auto decoded = decode(); !decoded) return decoded.error();
    const std::size_t count = std::min(out.size(), reader.waiting_.size() - reader.taken_);
    std::copy_n(reader.waiting_.begin() + static_cast<std::ptrdiff_t>(reader.taken_), count,
                out.begin());
    reader.taken_ += count;
    return static_cast<std::int64_t>(count);
  }

 private:
  Result<void> decode() {
    if (failure_) return *failure_;
    const auto got = source_->read(interleaved_);
    if (!got) {
      failure_ = got.error();
      return *failure_;
    }
    for (ChannelReader* reader : readers_) hand_out(static_cast<std::size_t>(got->n), *reader);
    return {};
  }

  void hand_out(std::size_t frames, ChannelReader& reader) const {
    if (reader.left_behind_) return;
    auto& waiting = reader.waiting_;
    waiting.erase(waiting.begin(), waiting.begin() + static_cast<std::ptrdiff_t>(reader.taken_));
    reader.taken_ = 0;
    if (waiting.size() + frames > kMostWaiting) {
      reader.left_behind_ = true;
      return;
    }
    const auto channels = static_cast<std::size_t>(source_->channels());
    const float* from = interleaved_.data() + reader.channel_;
    if (channels == 1) {
      waiting.insert(waiting.end(), from, from + frames);
    } else {
      const std::size_t before = waiting.size();
      waiting.resize(before + frames);
      float* const to = waiting.data() + before;
      for (std::size_t i = 0; i < frames; ++i) to[i] = from[i * channels];
    }
    reader.received_ += static_cast<std::int64_t>(frames);
  }

  std::filesystem::path path_;
  std::mutex mutex_;  // of all below, and of what waits for the readers
  std::vector<ChannelReader*> readers_;
  media::AudioInfo info_;
  std::unique_ptr<AudioSource> source_;
  std::optional<Error> failure_;
  std::vector<float> interleaved_;
};

ChannelReader::ChannelReader(std::shared_ptr<SharedFile> file, int channel)
    : file_(std::move(file)), channel_(static_cast<std::size_t>(channel - 1)) {
  file_->add(*this);
}

ChannelReader::~ChannelReader() { file_->remove(*this); }

const std::filesystem::path& ChannelReader::path() const { return file_->path(); }

Result<media::AudioInfo> ChannelReader::open() {
  auto info = file_->open();
  if (info && channel_ >= static_cast<std::size_t>(info->channels))
    return Error{
        ErrorKind::unreadable, file_->path(),
        "it is not the file that was aligned: it has no channel " + std::to_string(channel_ + 1),
        "align the session again"};
  return info;
}

Result<std::int64_t> ChannelReader::read(std::span<float> out) {
  const auto got = file_->read(*this, out);
  if (!got || *got > 0 || !left_behind_) return got;
  if (auto caught_up = catch_up(); !caught_up) return caught_up.error();
  return file_->read(*this, out);
}

/// Goes on alone from where the others left this reader behind.
Result<void> ChannelReader::catch_up() {
  file_->remove(*this);
  file_ = std::make_shared<SharedFile>(file_->path());
  file_->add(*this);
  left_behind_ = false;
  if (auto info = open(); !info) return info.error();
  std::vector<float> skipped(kBlock);
  for (std::int64_t left = std::exchange(received_, 0); left > 0;) {
    const auto wanted = static_cast<std::size_t>(std::min(left, kBlock));
    const auto got = file_->read(*this, std::span(skipped).first(wanted));
    if (!got) return got.error();
    if (*got == 0) return {};
    left -= *got;
  }
  return {};
}

SharedFiles::SharedFiles(std::filesystem::path folder) : folder_(std::move(folder)) {}

std::unique_ptr<ChannelReader> SharedFiles::reader(const std::string& file, int channel) {
  const std::filesystem::path path = folder_ / file;
  auto& shared = files_[path];
  if (!shared) shared = std::make_shared<SharedFile>(path);
  return std::make_unique<ChannelReader>(shared, channel);
}

}  // namespace kilter::conform

#include "kilter/intake/scratch_signal.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <span>
#include <string>
#include <utility>

#include "kilter/base/file_calls.h"
#include "kilter/base/system_words.h"
#include "kilter/signal/wide_loops.h"

namespace kilter::intake {
namespace {

constexpr std::size_t kBlockFrames = 512;
constexpr std::size_t kBlockBytes = sizeof(float) + kBlockFrames * sizeof(std::int16_t);
// A signal's blocks that lie together in the file; between two of its chunks lie the other
// signals'.
constexpr std::size_t kBlocksPerChunk = 32;
constexpr std::size_t kChunkBytes = kBlocksPerChunk * kBlockBytes;
constexpr float kLargest = 32767.0F;

/// What is wrong, and what helps against it.
struct Advice {
  const char* what;
  const char* next_step;
};

Advice advice_for(int code) {
  switch (code) {
    case ENOSPC:
    case EDQUOT:
    case EFBIG:
      return {"no room for the temporary 16 kHz copies",
              "set TMPDIR to a folder with more room (120 MB per track and hour)"};
    case EMFILE:
    case ENFILE:
      return {"too many open files for the temporary 16 kHz copies",
              "raise the limit of open files (ulimit -n)"};
    case ENOENT:
    case ENOTDIR:
      return {"the folder for temporary files is missing",
              "set TMPDIR to a folder that is there, with room for 120 MB per track and hour"};
    case EACCES:
    case EPERM:
    case EROFS:
      return {"the folder for temporary files cannot be written to",
              "set TMPDIR to a folder that you may write to"};
    default:
      return {"the temporary 16 kHz copies cannot be kept",
              "check the disk, or set TMPDIR to a folder on another one"};
  }
}

Error cannot_keep(const std::filesystem::path& folder, int code) {
  const Advice advice = advice_for(code);
  return {ErrorKind::cannot_write, folder, advice.what + (": " + system_words(code)),
          advice.next_step};
}

Error cannot_read_back(const std::filesystem::path& folder, int code) {
  return {ErrorKind::unreadable, folder,
          "a temporary 16 kHz copy cannot be read back: " + system_words(code),
          "check the disk, or set TMPDIR to a folder on another one"};
}

/// Reads exactly `out`, which lies inside the file.
int read_fully(FileCalls& calls, int descriptor, std::span<std::byte> out, std::int64_t offset) {
  while (!out.empty()) {
    const ssize_t got =
        calls.read_at(descriptor, out.data(), out.size(), static_cast<off_t>(offset));
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return errno;
    if (got == 0) return EIO;
    out = out.subspan(static_cast<std::size_t>(got));
    offset += got;
  }
  return 0;
}

int write_fully(FileCalls& calls, int descriptor, std::span<const std::byte> bytes,
                std::int64_t offset) {
  while (!bytes.empty()) {
    const ssize_t put =
        calls.write_at(descriptor, bytes.data(), bytes.size(), static_cast<off_t>(offset));
    if (put < 0 && errno == EINTR) continue;
    if (put <= 0) return put < 0 ? errno : ENOSPC;
    bytes = bytes.subspan(static_cast<std::size_t>(put));
    offset += put;
  }
  return 0;
}

/// Frames `from`.. of one encoded block into `out`.
KILTER_WIDE void decode(const std::byte* block, std::size_t from, std::span<float> out) {
  float scale = 0.0F;
  std::memcpy(&scale, block, sizeof scale);
  std::array<std::int16_t, kBlockFrames> values;
  std::memcpy(values.data(), block + sizeof scale + from * sizeof(std::int16_t),
              out.size() * sizeof(std::int16_t));
  float* const to = out.data();
  for (std::size_t i = 0; i < out.size(); ++i) to[i] = scale * static_cast<float>(values[i]);
}

KILTER_WIDE float peak_of(std::span<const float> frames) {
  static_assert(kBlockFrames % 8 == 0);
  Float8 peaks{};
  for (std::size_t i = 0; i < kBlockFrames; i += 8) {
    Float8 x{};
    load(&frames[i], x);
    const Float8 magnitude = x < 0.0F ? -x : x;
    peaks = peaks < magnitude ? magnitude : peaks;
  }
  float peak = 0.0F;
  for (int lane = 0; lane < 8; ++lane) peak = std::max(peak, peaks[lane]);
  return peak;
}

/// Rounds to nearest, even where half way, by pushing the fraction out of the number.
KILTER_WIDE void quantise(std::span<const float> frames, float factor,
                          std::span<std::int16_t> out) {
  constexpr float kPush = 12582912.0F;  // 1.5 * 2^23
  for (std::size_t i = 0; i < kBlockFrames; ++i) {
    const float rounded = (frames[i] * factor + kPush) - kPush;
    out[i] = static_cast<std::int16_t>(std::min(std::max(rounded, -kLargest), kLargest));
  }
}

}  // namespace

/// The file under some signals, in chunks by turns: signal 0, 1, .. and round again.
class ScratchFile {
 public:
  ScratchFile(int descriptor, std::filesystem::path folder, int signals)
      : descriptor_(descriptor), folder_(std::move(folder)), signals_(signals) {}
  ScratchFile(const ScratchFile&) = delete;
  ScratchFile& operator=(const ScratchFile&) = delete;
  ~ScratchFile() { ::close(descriptor_); }

  /// Both: 0, or an errno.
  int read(std::span<std::byte> out, std::int64_t offset) const {
    return read_fully(calls_, descriptor_, out, offset);
  }
  int write(std::span<const std::byte> bytes, std::int64_t offset) const {
    return write_fully(calls_, descriptor_, bytes, offset);
  }
  /// For messages.
  const std::filesystem::path& folder() const { return folder_; }
  std::int64_t offset_of_chunk(int signal, std::int64_t chunk) const {
    return (chunk * signals_ + signal) * static_cast<std::int64_t>(kChunkBytes);
  }

 private:
  FileCalls& calls_{file_calls()};
  int descriptor_;
  std::filesystem::path folder_;
  int signals_;
};

ScratchSignal::ScratchSignal(std::shared_ptr<const ScratchFile> file, int index)
    : file_(std::move(file)), index_(index) {
  pending_.reserve(kBlockFrames);
  encoded_.reserve(kChunkBytes);
}

Result<std::vector<std::unique_ptr<ScratchSignal>>> ScratchSignal::create(
    const std::filesystem::path& folder, int count) {
  std::string name = (folder / "kilter-XXXXXX").string();
  const int descriptor = ::mkstemp(name.data());
  if (descriptor < 0) return cannot_keep(folder, errno);
  ::unlink(name.c_str());
  ::fcntl(descriptor, F_SETFD, FD_CLOEXEC);
  const auto file = std::make_shared<const ScratchFile>(descriptor, folder, count);
  std::vector<std::unique_ptr<ScratchSignal>> signals;
  for (int i = 0; i < count; ++i)
    signals.push_back(std::unique_ptr<ScratchSignal>(new ScratchSignal(file, i)));
  return signals;
}

Result<void> ScratchSignal::append(std::span<const float> frames) {
  frames_ += std::ssize(frames);
  while (!frames.empty()) {
    const std::size_t count = std::min(frames.size(), kBlockFrames - pending_.size());
    pending_.insert(pending_.end(), frames.begin(),
                    frames.begin() + static_cast<std::ptrdiff_t>(count));
    frames = frames.subspan(count);
    if (pending_.size() < kBlockFrames) break;
    encode_block();
    if (encoded_.size() < kChunkBytes) continue;
    if (auto written = write_encoded(); !written) return written;
  }
  return {};
}

Result<void> ScratchSignal::finish() {
  if (!pending_.empty()) {
    pending_.resize(kBlockFrames, 0.0F);
    encode_block();
  }
  auto written = write_encoded();
  pending_ = {};
  encoded_ = {};
  return written;
}

void ScratchSignal::encode_block() {
  const float peak = peak_of(pending_);
  const float scale = peak / kLargest;
  const float inverse = peak > 0.0F ? kLargest / peak : 0.0F;
  std::array<std::int16_t, kBlockFrames> values{};
  quantise(pending_, inverse, values);
  const std::size_t at = encoded_.size();
  encoded_.resize(at + kBlockBytes);
  std::memcpy(encoded_.data() + at, &scale, sizeof scale);
  std::memcpy(encoded_.data() + at + sizeof scale, values.data(), sizeof values);
  pending_.clear();
}

Result<void> ScratchSignal::write_encoded() {
  const int code = file_->write(encoded_, file_->offset_of_chunk(index_, chunks_written_));
  encoded_.clear();
  ++chunks_written_;
  if (code != 0) return cannot_keep(file_->folder(), code);
  return {};
}

Result<void> ScratchSignal::read(std::int64_t first, std::span<float> out) const {
  const std::int64_t last = std::min(first + std::ssize(out), frames_);
  // What lies outside of the track.
  const auto from = static_cast<std::size_t>(std::clamp<std::int64_t>(-first, 0, std::ssize(out)));
  const auto to = static_cast<std::size_t>(
      std::clamp<std::int64_t>(last - first, static_cast<std::int64_t>(from), std::ssize(out)));
  std::fill_n(out.begin(), from, 0.0F);
  std::fill(out.begin() + static_cast<std::ptrdiff_t>(to), out.end(), 0.0F);
  std::array<std::byte, kChunkBytes> bytes;
  const auto block_frames = static_cast<std::int64_t>(kBlockFrames);
  const auto chunk_blocks = static_cast<std::int64_t>(kBlocksPerChunk);
  for (std::int64_t at = std::max<std::int64_t>(first, 0); at < last;) {
    const std::int64_t block = at / block_frames;
    const std::int64_t chunk = block / chunk_blocks;
    const std::int64_t blocks =
        std::min((last - 1) / block_frames - block + 1, (chunk + 1) * chunk_blocks - block);
    const std::span<std::byte> wanted(bytes.data(), static_cast<std::size_t>(blocks) * kBlockBytes);
    const std::int64_t offset = file_->offset_of_chunk(index_, chunk) +
                                block % chunk_blocks * static_cast<std::int64_t>(kBlockBytes);
    if (const int code = file_->read(wanted, offset); code != 0)
      return cannot_read_back(file_->folder(), code);
    for (std::int64_t b = block; b < block + blocks; ++b) {
      const std::int64_t stop = std::min((b + 1) * block_frames, last);
      decode(
          bytes.data() + static_cast<std::size_t>(b - block) * kBlockBytes,
          static_cast<std::size_t>(at - b * block_frames),
          out.subspan(static_cast<std::size_t>(at - first), static_cast<std::size_t>(stop - at)));
      at = stop;
    }
  }
  return {};
}

MeanSignal::MeanSignal(std::vector<std::shared_ptr<const AnalysisSignal>> parts)
    : parts_(std::move(parts)) {}

Result<void> MeanSignal::read(std::int64_t first, std::span<float> out) const {
  if (auto done = parts_.front()->read(first, out); !done) return done;
  std::vector<float> other(out.size());
  for (std::size_t p = 1; p < parts_.size(); ++p) {
    if (auto done = parts_[p]->read(first, other); !done) return done;
    for (std::size_t i = 0; i < out.size(); ++i) out[i] += other[i];
  }
  const float share = 1.0F / static_cast<float>(parts_.size());
  for (float& x : out) x *= share;
  return {};
}

}  // namespace kilter::intake

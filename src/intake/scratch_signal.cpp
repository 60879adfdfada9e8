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

namespace kilter::intake {
namespace {

constexpr std::size_t kBlockFrames = 512;
constexpr std::size_t kBlockBytes = sizeof(float) + kBlockFrames * sizeof(std::int16_t);
constexpr std::size_t kBlocksPerWrite = 32;
constexpr std::size_t kBlocksPerRead = 16;
constexpr float kLargest = 32767.0F;

Error cannot_keep(const std::filesystem::path& folder, int code) {
  return {ErrorKind::cannot_write, folder,
          std::string("no room for the temporary 16 kHz copies: ") + std::strerror(code),
          "set TMPDIR to a folder with more room (120 MB per track and hour)"};
}

Error cannot_read_back(const std::filesystem::path& folder, int code) {
  return {ErrorKind::unreadable, folder,
          std::string("a temporary 16 kHz copy cannot be read back: ") + std::strerror(code),
          "check the disk, or set TMPDIR to a folder on another one"};
}

/// Reads exactly `out`, which lies inside the file.
int read_fully(int descriptor, std::span<std::byte> out, std::int64_t offset) {
  while (!out.empty()) {
    const ssize_t got = ::pread(descriptor, out.data(), out.size(), static_cast<off_t>(offset));
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return errno;
    if (got == 0) return EIO;
    out = out.subspan(static_cast<std::size_t>(got));
    offset += got;
  }
  return 0;
}

int write_fully(int descriptor, std::span<const std::byte> bytes) {
  while (!bytes.empty()) {
    const ssize_t put = ::write(descriptor, bytes.data(), bytes.size());
    if (put < 0 && errno == EINTR) continue;
    if (put < 0) return errno;
    bytes = bytes.subspan(static_cast<std::size_t>(put));
  }
  return 0;
}

/// Frames `from`.. of one encoded block into `out`.
void decode(const std::byte* block, std::size_t from, std::span<float> out) {
  float scale = 0.0F;
  std::memcpy(&scale, block, sizeof scale);
  const std::byte* sample = block + sizeof scale + from * sizeof(std::int16_t);
  for (float& x : out) {
    std::int16_t value = 0;
    std::memcpy(&value, sample, sizeof value);
    x = scale * static_cast<float>(value);
    sample += sizeof value;
  }
}

}  // namespace

ScratchSignal::ScratchSignal(int descriptor, std::filesystem::path folder)
    : descriptor_(descriptor), folder_(std::move(folder)) {
  pending_.reserve(kBlockFrames);
  encoded_.reserve(kBlocksPerWrite * kBlockBytes);
}

ScratchSignal::~ScratchSignal() { ::close(descriptor_); }

Result<std::unique_ptr<ScratchSignal>> ScratchSignal::create(const std::filesystem::path& folder) {
  std::string name = (folder / "kilter-XXXXXX").string();
  const int descriptor = ::mkstemp(name.data());
  if (descriptor < 0) return cannot_keep(folder, errno);
  ::unlink(name.c_str());
  ::fcntl(descriptor, F_SETFD, FD_CLOEXEC);
  return std::unique_ptr<ScratchSignal>(new ScratchSignal(descriptor, folder));
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
    if (encoded_.size() < kBlocksPerWrite * kBlockBytes) continue;
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
  float peak = 0.0F;
  for (const float x : pending_) peak = std::max(peak, std::fabs(x));
  const float scale = peak / kLargest;
  const float inverse = peak > 0.0F ? kLargest / peak : 0.0F;
  std::array<std::int16_t, kBlockFrames> values{};
  for (std::size_t i = 0; i < kBlockFrames; ++i) {
    const float value = std::clamp(std::nearbyint(pending_[i] * inverse), -kLargest, kLargest);
    values[i] = static_cast<std::int16_t>(value);
  }
  const std::size_t at = encoded_.size();
  encoded_.resize(at + kBlockBytes);
  std::memcpy(encoded_.data() + at, &scale, sizeof scale);
  std::memcpy(encoded_.data() + at + sizeof scale, values.data(), sizeof values);
  pending_.clear();
}

Result<void> ScratchSignal::write_encoded() {
  const int code = write_fully(descriptor_, encoded_);
  encoded_.clear();
  if (code != 0) return cannot_keep(folder_, code);
  return {};
}

Result<void> ScratchSignal::read(std::int64_t first, std::span<float> out) const {
  std::fill(out.begin(), out.end(), 0.0F);
  const std::int64_t last = std::min(first + std::ssize(out), frames_);
  std::array<std::byte, kBlocksPerRead * kBlockBytes> bytes;
  const auto block_frames = static_cast<std::int64_t>(kBlockFrames);
  for (std::int64_t at = std::max<std::int64_t>(first, 0); at < last;) {
    const std::int64_t block = at / block_frames;
    const std::int64_t blocks =
        std::min((last - 1) / block_frames - block + 1, static_cast<std::int64_t>(kBlocksPerRead));
    const std::span<std::byte> wanted(bytes.data(), static_cast<std::size_t>(blocks) * kBlockBytes);
    const int code =
        read_fully(descriptor_, wanted, block * static_cast<std::int64_t>(kBlockBytes));
    if (code != 0) return cannot_read_back(folder_, code);
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

#include "kilter/intake/scratch_signal.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <span>
#include <string>
#include <utility>

#include "kilter/base/wide_loops.h"
#include "scratch_file.h"

namespace kilter::intake {
namespace {

constexpr std::size_t kBlockFrames = 512;
constexpr std::size_t kBlockBytes = sizeof(float) + kBlockFrames * sizeof(std::int16_t);
// A signal's blocks that lie together in the file; between two of its chunks lie the other
// signals'. Whole pages: one in which two chunks meet would be taken up twice by the system.
constexpr std::size_t kBlocksPerChunk = 255;
constexpr std::size_t kBytesOfBlocks = kBlocksPerChunk * kBlockBytes;
constexpr std::size_t kChunkBytes = 256 * 1024;
static_assert(kBytesOfBlocks <= kChunkBytes);
constexpr std::size_t kBlocksPerRead = 32;
constexpr float kLargest = 32767.0F;

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
struct ScratchSignal::Chunks {
  std::unique_ptr<ScratchFile> file;
  int signals;

  std::int64_t offset_of(int signal, std::int64_t chunk) const {
    return (chunk * signals + signal) * static_cast<std::int64_t>(kChunkBytes);
  }
};

ScratchSignal::ScratchSignal(std::shared_ptr<const Chunks> chunks, int index)
    : chunks_(std::move(chunks)), index_(index) {
  pending_.reserve(kBlockFrames);
  encoded_.reserve(kChunkBytes);
}

Result<std::vector<std::unique_ptr<ScratchSignal>>> ScratchSignal::create(
    const std::filesystem::path& folder, int count) {
  auto file = ScratchFile::create(folder);
  if (!file) return file.error();
  const auto chunks = std::make_shared<const Chunks>(Chunks{*std::move(file), count});
  std::vector<std::unique_ptr<ScratchSignal>> signals;
  for (int i = 0; i < count; ++i)
    signals.push_back(std::unique_ptr<ScratchSignal>(new ScratchSignal(chunks, i)));
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
    if (encoded_.size() < kBytesOfBlocks) continue;
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
  if (encoded_.size() == kBytesOfBlocks) encoded_.resize(kChunkBytes);
  auto written = chunks_->file->write(chunks_->offset_of(index_, chunks_written_), encoded_);
  encoded_.clear();
  ++chunks_written_;
  return written;
}

Result<void> ScratchSignal::read(std::int64_t first, std::span<float> out) const {
  const std::int64_t last = std::min(first + std::ssize(out), frames_);
  // What lies outside of the track.
  const auto from = static_cast<std::size_t>(std::clamp<std::int64_t>(-first, 0, std::ssize(out)));
  const auto to = static_cast<std::size_t>(
      std::clamp<std::int64_t>(last - first, static_cast<std::int64_t>(from), std::ssize(out)));
  std::fill_n(out.begin(), from, 0.0F);
  std::fill(out.begin() + static_cast<std::ptrdiff_t>(to), out.end(), 0.0F);
  std::array<std::byte, kBlocksPerRead * kBlockBytes> bytes;
  const auto block_frames = static_cast<std::int64_t>(kBlockFrames);
  const auto chunk_blocks = static_cast<std::int64_t>(kBlocksPerChunk);
  for (std::int64_t at = std::max<std::int64_t>(first, 0); at < last;) {
    const std::int64_t block = at / block_frames;
    const std::int64_t chunk = block / chunk_blocks;
    const std::int64_t blocks =
        std::min({(last - 1) / block_frames - block + 1, (chunk + 1) * chunk_blocks - block,
                  static_cast<std::int64_t>(kBlocksPerRead)});
    const std::span<std::byte> wanted(bytes.data(), static_cast<std::size_t>(blocks) * kBlockBytes);
    const std::int64_t offset = chunks_->offset_of(index_, chunk) +
                                block % chunk_blocks * static_cast<std::int64_t>(kBlockBytes);
    if (auto read = chunks_->file->read(offset, wanted); !read) return read;
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

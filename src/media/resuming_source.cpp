#include "resuming_source.h"

#include <algorithm>
#include <utility>
#include <vector>

namespace kilter::media {

Result<Frames> ResumingSource::read(std::span<float> interleaved) {
  auto got = source_->read(interleaved);
  if (!got)
    if (auto other = brought_here()) {
      const auto behind = other->read(interleaved);
      if (behind && behind->n > 0) {
        got = *behind;
        source_ = std::move(other);
      }
    }
  if (got) position_.n += got->n;
  return got;
}

/// The other reader, where the first one failed; nothing where it does not come so far.
std::unique_ptr<FileSource> ResumingSource::brought_here() {
  if (!open_other_) return nullptr;
  auto other = std::exchange(open_other_, nullptr)();
  if (!other || other->source->channels() != channels() || other->info.rate.hz != rate().hz)
    return nullptr;
  constexpr std::int64_t kBlock_frames = 65536;
  const auto samples_in = [&](std::int64_t frames) {
    return static_cast<std::size_t>(frames) * static_cast<std::size_t>(channels());
  };
  std::vector<float> passed_over(samples_in(std::min(kBlock_frames, position_.n)));
  for (std::int64_t left = position_.n; left > 0;) {
    const auto got = other->source->read(
        std::span(passed_over).first(samples_in(std::min(kBlock_frames, left))));
    if (!got || got->n == 0) return nullptr;
    left -= got->n;
  }
  return std::move(other->source);
}

}  // namespace kilter::media

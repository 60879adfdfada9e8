#include "sndfile_input.h"

#include <algorithm>
#include <span>

namespace kilter::media {
SndfileHandle SndfileInput::open(SF_INFO& header, std::string& words) {
  SF_VIRTUAL_IO calls{&length, &seek, &read, nullptr, &tell};
  const std::lock_guard lock(sndfile_open_mutex());
  SndfileHandle handle(sf_open_virtual(&calls, SFM_READ, &header, this));
  if (!handle) words = sf_strerror(nullptr);
  return handle;
}

sf_count_t SndfileInput::length(void* self) {
  return static_cast<SndfileInput*>(self)->file_->length();
}

sf_count_t SndfileInput::seek(sf_count_t offset, int whence, void* self) {
  auto& input = *static_cast<SndfileInput*>(self);
  if (input.file_->problem() != 0) return -1;
  sf_count_t base = 0;
  if (whence == SEEK_CUR) base = input.position_;
  if (whence == SEEK_END) base = input.file_->length();
  if (base + offset < 0) return -1;
  input.position_ = base + offset;
  return input.position_;
}

sf_count_t SndfileInput::read(void* out, sf_count_t wanted, void* self) {
  auto& input = *static_cast<SndfileInput*>(self);
  if (wanted <= 0 || input.file_->problem() != 0) return 0;
  const std::span bytes(static_cast<char*>(out), static_cast<std::size_t>(wanted));
  const std::int64_t got = input.file_->read_ahead_at(bytes, input.position_);
  const HeaderPatch& patch = input.patch_;
  const std::int64_t from = std::max(patch.at, input.position_);
  const std::int64_t to = std::min(patch.at + patch.count, input.position_ + got);
  if (from < to)
    std::copy(patch.bytes.begin() + (from - patch.at), patch.bytes.begin() + (to - patch.at),
              bytes.begin() + (from - input.position_));
  input.position_ += got;
  // The library hears of no failure and may look for the end for ever: this is it.
  if (input.file_->problem() != 0) input.position_ = input.file_->length();
  return got;
}

sf_count_t SndfileInput::tell(void* self) { return static_cast<SndfileInput*>(self)->position_; }

}  // namespace kilter::media

#include "track_reader.h"

#include <algorithm>
#include <filesystem>
#include <string>

namespace kilter::conform {
namespace {

Error another_file(const std::filesystem::path& file, const std::string& what) {
  return {ErrorKind::unreadable, file, "it is not the file that was aligned: " + what,
          "align the session again"};
}

}  // namespace

TrackReader::TrackReader(const LineupTrack& track, SharedFiles& files) : track_(track) {
  for (const TrackPart& part : track.parts) parts_.push_back(files.reader(part.file, part.channel));
}

Result<std::int64_t> TrackReader::pull(std::span<float> out) {
  std::int64_t total = 0;
  while (!out.empty() && part_ < parts_.size()) {
    if (!is_open_)
      if (auto opened = open_part(); !opened) return opened.error();
    const auto got = pull_from_part(out);
    if (!got) return got.error();
    total += *got;
    out = out.subspan(static_cast<std::size_t>(*got));
    if (left_in_part_ == 0) {
      parts_[part_++].reset();
      is_open_ = false;
    }
  }
  return total;
}

bool TrackReader::is_finer_than(int bits) const { return any_between_steps_ || most_bits_ > bits; }

Result<void> TrackReader::open_part() {
  const auto info = parts_[part_]->open();
  if (!info) return info.error();
  if (info->rate.hz != track_.rate_hz)
    return another_file(parts_[part_]->path(), "its sample rate is another");
  is_open_ = true;
  left_in_part_ = track_.parts[part_].frames;
  most_bits_ = std::max(most_bits_, info->bits);
  any_between_steps_ = any_between_steps_ || info->bits == 0;
  return {};
}

Result<std::int64_t> TrackReader::pull_from_part(std::span<float> out) {
  const auto wanted = static_cast<std::size_t>(std::min(left_in_part_, std::ssize(out)));
  const auto got = parts_[part_]->read(out.first(wanted));
  if (!got) return got;
  if (*got == 0 && wanted > 0)
    return another_file(parts_[part_]->path(),
                        "it ends " + std::to_string(left_in_part_) + " frames early");
  left_in_part_ -= *got;
  return got;
}

}  // namespace kilter::conform

#include "feature_shelf.h"

#include <optional>
#include <span>
#include <utility>

#include "kilter/base/parallel.h"

namespace kilter::sync {
namespace {

constexpr std::int64_t kMostInMemory = std::int64_t{1} << 26U;

}  // namespace

std::int64_t bytes_of_features(const std::vector<TrackInput>& signals) {
  constexpr std::int64_t kHop = kAnalysisRateHz / kFeatureRateHz;
  std::int64_t bytes = 0;
  for (const TrackInput& each : signals) bytes += each.signal->frames() / kHop * kFeatureBands;
  return bytes;
}

FeatureShelf::FeatureShelf(std::size_t tracks, std::int64_t bytes, const OpenByteStore& open_store)
    : open_store_(open_store),
      holds_all_(!open_store || bytes <= kMostInMemory),
      places_(tracks, Place{std::make_shared<const OnsetFeatures>()}) {}

Result<std::int64_t> FeatureShelf::room_for(std::int64_t bytes) {
  const std::lock_guard lock(mutex_);
  if (!store_) {
    auto opened = open_store_();
    if (!opened) return opened.error();
    store_ = *std::move(opened);
  }
  return std::exchange(end_, end_ + bytes);
}

Result<std::unique_ptr<FeatureShelf>> FeatureShelf::of(const std::vector<TrackInput>& signals,
                                                       const AlignOptions& options) {
  auto shelf = std::make_unique<FeatureShelf>(signals.size(), bytes_of_features(signals),
                                              options.open_store);
  std::vector<std::optional<Error>> errors(signals.size());
  const auto make_room = [] { return OnsetRoom{}; };
  const auto count = static_cast<int>(signals.size());
  parallel_with(count, options.threads, make_room, [&](int i, OnsetRoom& room) {
    const auto at = static_cast<std::size_t>(i);
    auto made = onset_features(*signals[at].signal, options.stop, options.open_store, &room);
    if (!made)
      errors[at] = made.error();
    else if (auto put = shelf->put(at, *std::move(made)); !put)
      errors[at] = put.error();
  });
  for (const auto& error : errors)
    if (error) return *error;
  return shelf;
}

Result<void> FeatureShelf::put(std::size_t track, OnsetFeatures features) {
  Place& place = places_[track];
  if (holds_all_) {
    place.held = std::make_shared<const OnsetFeatures>(std::move(features));
    return {};
  }
  const std::int64_t frames = features.frames();
  const auto room = room_for(frames * kFeatureBands);
  if (!room) return room.error();
  for (std::size_t b = 0; b < kFeatureBands; ++b)
    if (auto written = store_->write(*room + static_cast<std::int64_t>(b) * frames,
                                     std::as_bytes(std::span(features.bands[b])));
        !written)
      return written;
  place = {nullptr, *room, frames};
  return {};
}

Result<std::shared_ptr<const OnsetFeatures>> FeatureShelf::get(std::size_t track) const {
  const Place& place = places_[track];
  if (place.held) return place.held;
  auto features = std::make_shared<OnsetFeatures>();
  for (std::size_t b = 0; b < kFeatureBands; ++b) {
    features->bands[b].resize(static_cast<std::size_t>(place.frames));
    if (auto read = store_->read(place.at + static_cast<std::int64_t>(b) * place.frames,
                                 std::as_writable_bytes(std::span(features->bands[b])));
        !read)
      return read.error();
  }
  return std::shared_ptr<const OnsetFeatures>(std::move(features));
}

}  // namespace kilter::sync

// The features of a session's tracks, which of a long session with many tracks are too much to
// hold.
#pragma once

#include <memory>
#include <mutex>
#include <vector>

#include "kilter/base/byte_store.h"
#include "kilter/signal/onset_features.h"
#include "kilter/sync/align.h"

namespace kilter::sync {

/// Of all of them together.
std::int64_t bytes_of_features(const std::vector<TrackInput>& signals);

/// In memory; or in a store, where there is one and they come to more than 64 MB: then a track's
/// take memory while somebody has them in hand. Safe from any thread, but for put() and get() of
/// the same track.
class FeatureShelf {
 public:
  /// `bytes`: of all tracks together. `open_store` is kept by reference.
  FeatureShelf(std::size_t tracks, std::int64_t bytes, const OpenByteStore& open_store);

  /// With the features of every signal, made beside each other. `options` are kept by reference.
  /// Fails with the first signal's error.
  static Result<std::unique_ptr<FeatureShelf>> of(const std::vector<TrackInput>& signals,
                                                  const AlignOptions& options);

  /// In place of those that were there. Fails as the store does.
  Result<void> put(std::size_t track, OnsetFeatures features);
  /// None where none were put. Fails as the store does.
  Result<std::shared_ptr<const OnsetFeatures>> get(std::size_t track) const;

 private:
  struct Place {
    std::shared_ptr<const OnsetFeatures> held;
    std::int64_t at{0};
    std::int64_t frames{0};
  };

  Result<std::int64_t> room_for(std::int64_t bytes);

  const OpenByteStore& open_store_;
  bool holds_all_;
  std::vector<Place> places_;
  std::mutex mutex_;  // of what follows
  std::unique_ptr<ByteStore> store_;
  std::int64_t end_{0};
};

}  // namespace kilter::sync

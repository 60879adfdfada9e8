#include "kilter/signal/sample_digest.h"

#include <algorithm>
#include <bit>

#include "kilter/base/wide_loops.h"

namespace kilter {
namespace {

/// `frames` a multiple of 8.
KILTER_WIDE void add_to(std::uint32_t* plain_lanes, std::uint32_t* weighted_lanes,
                        std::span<const float> frames) {
  using Words8 = std::uint32_t __attribute__((vector_size(32)));
  Words8 plain{}, weighted{}, bits{};
  load(plain_lanes, plain);
  load(weighted_lanes, weighted);
  for (std::size_t i = 0; i < frames.size(); i += 8) {
    load(&frames[i], bits);
    plain += bits;
    weighted += plain;
  }
  store(plain, plain_lanes);
  store(weighted, weighted_lanes);
}

std::uint64_t mixed(std::uint64_t word) {
  word *= 0x9E3779B97F4A7C15U;
  return word ^ (word >> 29U);
}

}  // namespace

void SampleDigest::process(std::span<const float> frames) {
  const std::size_t head = std::min(frames.size(), (kLanes - count_ % kLanes) % kLanes);
  add_each(frames.first(head));
  frames = frames.subspan(head);
  const std::size_t whole = frames.size() / kLanes * kLanes;
  add_to(plain_.data(), weighted_.data(), frames.first(whole));
  count_ += whole;
  add_each(frames.subspan(whole));
}

std::uint64_t SampleDigest::value() const {
  std::uint64_t all = count_;
  for (std::size_t lane = 0; lane < kLanes; ++lane)
    all = mixed(all ^ (all >> 32U) ^ mixed(plain_[lane] | std::uint64_t{weighted_[lane]} << 32U));
  return all;
}

void SampleDigest::add_each(std::span<const float> frames) {
  for (const float sample : frames) {
    const std::size_t lane = count_++ % kLanes;
    plain_[lane] += std::bit_cast<std::uint32_t>(sample);
    weighted_[lane] += plain_[lane];
  }
}

}  // namespace kilter

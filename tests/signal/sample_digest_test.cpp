#include "kilter/signal/sample_digest.h"

#include <gtest/gtest.h>

#include <set>
#include <vector>

namespace kilter {
namespace {

std::uint64_t digest_of(const std::vector<float>& samples, std::size_t block) {
  SampleDigest digest;
  for (std::size_t at = 0; at < samples.size(); at += block)
    digest.process(std::span(samples).subspan(at, std::min(block, samples.size() - at)));
  return digest.value();
}

std::vector<float> ramp(std::size_t count) {
  std::vector<float> samples(count);
  for (std::size_t i = 0; i < count; ++i) samples[i] = 1e-3F * static_cast<float>(i % 711);
  return samples;
}

TEST(SampleDigest, DoesNotDependOnHowSamplesComeInBlocks) {
  const std::vector<float> samples = ramp(5003);
  for (const std::size_t block : {1U, 3U, 8U, 129U, 4096U})
    EXPECT_EQ(digest_of(samples, block), digest_of(samples, 5003)) << block;
}

TEST(SampleDigest, TellsOneChangedOneMovedAndOneMoreSampleApart) {
  std::set<std::uint64_t> seen{digest_of(ramp(5003), 512)};
  std::vector<float> changed = ramp(5003);
  changed[2500] += 1e-6F;
  EXPECT_TRUE(seen.insert(digest_of(changed, 512)).second);
  std::vector<float> exchanged = ramp(5003);
  std::swap(exchanged[100], exchanged[108]);  // of one lane
  EXPECT_TRUE(seen.insert(digest_of(exchanged, 512)).second);
  std::vector<float> longer = ramp(5003);
  longer.push_back(0.0F);
  EXPECT_TRUE(seen.insert(digest_of(longer, 512)).second);
  EXPECT_TRUE(seen.insert(digest_of({}, 512)).second);
}

}  // namespace
}  // namespace kilter

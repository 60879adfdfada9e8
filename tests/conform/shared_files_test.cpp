#include "shared_files.h"

#include <gtest/gtest.h>

#include <thread>
#include <vector>

#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::conform {
namespace {

using test::Samples;

constexpr int kRate_hz = 48000;

Samples read_on(ChannelReader& reader, std::size_t frames) {
  Samples sound;
  std::vector<float> block(5000);
  while (sound.size() < frames) {
    const auto got =
        reader.read(std::span(block).first(std::min(block.size(), frames - sound.size())));
    EXPECT_TRUE(got) << got.error().what;
    if (!got || *got == 0) break;
    sound.insert(sound.end(), block.begin(), block.begin() + *got);
  }
  return sound;
}

class SharedFilesOf : public testing::Test {
 protected:
  void write(std::size_t frames) {
    left_ = test::noise(frames, 0.5F, 1);
    right_ = test::noise(frames, 0.5F, 2);
    test::write_sound(folder_ / "desk.wav", {left_, right_}, kRate_hz);
  }
  test::TemporaryFolder folder_;
  SharedFiles files_{folder_.path()};
  Samples left_;
  Samples right_;
};

TEST_F(SharedFilesOf, TwoReadersAreDecodedOnce) {
  write(300000);
  const auto left = files_.reader("desk.wav", 1);
  const auto right = files_.reader("desk.wav", 2);
  ASSERT_TRUE(left->open());
  EXPECT_EQ(read_on(*left, 400000), left_);
  // Nothing is left that could be decoded again.
  std::filesystem::remove(folder_ / "desk.wav");
  ASSERT_TRUE(right->open());
  EXPECT_EQ(read_on(*right, 400000), right_);
}

TEST_F(SharedFilesOf, OneThatFallsFarBehindGoesOnAlone) {
  write(1500000);
  const auto left = files_.reader("desk.wav", 1);
  const auto right = files_.reader("desk.wav", 2);
  ASSERT_TRUE(left->open());
  ASSERT_TRUE(right->open());
  const Samples begun = read_on(*right, 100);
  EXPECT_EQ(read_on(*left, 2000000), left_);
  Samples all = begun;
  const Samples rest = read_on(*right, 2000000);
  all.insert(all.end(), rest.begin(), rest.end());
  EXPECT_EQ(all, right_);
}

TEST_F(SharedFilesOf, OneThatIsGoneHoldsNobodyUp) {
  write(1500000);
  const auto left = files_.reader("desk.wav", 1);
  auto right = files_.reader("desk.wav", 2);
  ASSERT_TRUE(left->open());
  EXPECT_EQ(read_on(*left, 10000), Samples(left_.begin(), left_.begin() + 10000));
  right.reset();
  EXPECT_EQ(read_on(*left, 2000000), Samples(left_.begin() + 10000, left_.end()));
}

TEST_F(SharedFilesOf, ThreadsMayReadSideBySide) {
  write(600000);
  const auto left = files_.reader("desk.wav", 1);
  const auto right = files_.reader("desk.wav", 2);
  ASSERT_TRUE(left->open());
  ASSERT_TRUE(right->open());
  Samples on_left;
  std::thread other([&] { on_left = read_on(*left, 700000); });
  const Samples on_right = read_on(*right, 700000);
  other.join();
  EXPECT_EQ(on_left, left_);
  EXPECT_EQ(on_right, right_);
}

TEST_F(SharedFilesOf, AMissingFileAndAMissingChannelFailForTheirReadersAlone) {
  write(1000);
  const auto none = files_.reader("lost.wav", 1);
  const auto third = files_.reader("desk.wav", 3);
  const auto left = files_.reader("desk.wav", 1);
  EXPECT_FALSE(none->open());
  const auto opened = third->open();
  ASSERT_FALSE(opened);
  EXPECT_EQ(opened.error().kind, ErrorKind::unreadable);
  EXPECT_EQ(opened.error().file, folder_ / "desk.wav");
  ASSERT_TRUE(left->open());
  EXPECT_EQ(read_on(*left, 2000), left_);
}

}  // namespace
}  // namespace kilter::conform

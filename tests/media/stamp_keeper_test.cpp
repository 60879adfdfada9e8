#include "stamp_keeper.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <vector>

namespace kilter::media {
namespace {

constexpr std::int64_t kPiece = 960;

StampKeeper::Tolerance tolerance(double tick_frames = 1.0) { return {480, tick_frames, 480000}; }

/// What a keeper does over all pieces, of which it sees six at a time.
struct Done {
  std::vector<StampAction> actions;
  std::int64_t put_in{0};
  std::int64_t left_out{0};
  int jumps{0};
};

Done run(const std::vector<Stamped>& pieces, const StampKeeper::Tolerance& limits) {
  StampKeeper keeper(limits);
  Done done;
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    const std::size_t ahead = std::min<std::size_t>(6, pieces.size() - i);
    done.actions.push_back(keeper.next(std::span(pieces).subspan(i, ahead)));
    done.put_in += done.actions.back().put_in;
    done.left_out += done.actions.back().leave_out;
    if (done.actions.back().jump != 0) ++done.jumps;
  }
  return done;
}

std::vector<Stamped> in_step(int count, std::int64_t first = 0) {
  std::vector<Stamped> pieces;
  for (int i = 0; i < count; ++i) pieces.push_back({first + i * kPiece, kPiece});
  return pieces;
}

void shift(std::vector<Stamped>& pieces, std::size_t from, std::int64_t frames) {
  for (std::size_t i = from; i < pieces.size(); ++i) *pieces[i].stamp += frames;
}

TEST(StampKeeper, LeavesAloneWhatIsInStepWhereverItStarts) {
  const Done done = run(in_step(200, -312), tolerance());
  EXPECT_EQ(done.jumps, 0);
  EXPECT_EQ(done.put_in + done.left_out, 0);
}

TEST(StampKeeper, PutsInExactlyWhatTheStampsSkip) {
  auto pieces = in_step(100);
  shift(pieces, 40, 12345);
  const Done done = run(pieces, tolerance());
  EXPECT_EQ(done.jumps, 1);
  EXPECT_EQ(done.actions[40].put_in, 12345);
  EXPECT_EQ(done.put_in, 12345);
}

TEST(StampKeeper, PutsInWholePiecesWhereStampsAreCoarse) {
  auto pieces = in_step(100);
  shift(pieces, 40, 15 * kPiece);
  // Whole milliseconds, rounded down: up to 47 frames early.
  for (std::size_t i = 0; i < pieces.size(); ++i)
    *pieces[i].stamp -= static_cast<std::int64_t>(i * 37 % 48);
  const Done done = run(pieces, tolerance(48.0));
  EXPECT_EQ(done.jumps, 1);
  EXPECT_EQ(done.put_in, 15 * kPiece);
}

TEST(StampKeeper, LeavesOutAnOverlapLongerThanAPiece) {
  auto pieces = in_step(100);
  shift(pieces, 40, -2500);
  const Done done = run(pieces, tolerance());
  EXPECT_EQ(done.jumps, 1);
  EXPECT_EQ(done.actions[40].leave_out, kPiece);
  EXPECT_EQ(done.actions[41].leave_out, kPiece);
  EXPECT_EQ(done.actions[42].leave_out, 2500 - 2 * kPiece);
  EXPECT_EQ(done.left_out, 2500);
}

TEST(StampKeeper, KeepsAllSoundWhereStampsStartAnew) {
  auto pieces = in_step(2000);
  shift(pieces, 1000, -900000);
  const Done done = run(pieces, tolerance());
  EXPECT_EQ(done.jumps, 1);
  EXPECT_EQ(done.put_in + done.left_out, 0);
}

struct Strayed {
  const char* name;
  std::int64_t (*stray)(int piece);
};

class StampsThatStray : public testing::TestWithParam<Strayed> {};

TEST_P(StampsThatStray, ChangeNothing) {
  auto pieces = in_step(3000);
  for (std::size_t i = 0; i < pieces.size(); ++i)
    *pieces[i].stamp += GetParam().stray(static_cast<int>(i));
  const Done done = run(pieces, tolerance());
  EXPECT_EQ(done.jumps, 0);
  EXPECT_EQ(done.put_in + done.left_out, 0);
}

INSTANTIATE_TEST_SUITE_P(
    All, StampsThatStray,
    testing::Values(
        Strayed{"OneLate", [](int i) -> std::int64_t { return i == 70 ? 1500 : 0; }},
        Strayed{"ThreeEarly", [](int i) -> std::int64_t { return i >= 70 && i < 73 ? -1500 : 0; }},
        Strayed{"EverySecond", [](int i) -> std::int64_t { return i % 2 == 0 ? 700 : -100; }},
        // 200 ppm for a minute: 12 ms in all.
        Strayed{"AnotherClock", [](int i) -> std::int64_t { return i * kPiece / 5000; }},
        Strayed{"AStepOfTenMilliseconds",
                [](int i) -> std::int64_t { return i >= 500 ? 480 : 0; }}),
    [](const auto& each) { return each.param.name; });

TEST(StampKeeper, GoesOnCountingWithoutStamps) {
  auto pieces = in_step(60);
  for (std::size_t i = 20; i < 30; ++i) pieces[i].stamp.reset();
  EXPECT_EQ(run(pieces, tolerance()).jumps, 0);
}

}  // namespace
}  // namespace kilter::media

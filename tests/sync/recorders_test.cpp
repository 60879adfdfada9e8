#include "recorders.h"

#include <gtest/gtest.h>

#include "heard_track.h"

namespace kilter::sync {
namespace {

TEST(Recorders, HoldsTracksTogetherThatBeginTogether) {
  std::vector<TrackState> states{heard_track(300.0, {{6.0, 290.0, 1.5}}, 20.0),
                                 heard_track(310.0, {{6.0, 290.0, 1.5}}, 20.0),
                                 heard_track(300.0, {{6.0, 290.0, 4.5}}, 20.0)};
  find_recorders(states);
  EXPECT_EQ(states[0].recorder, states[1].recorder);
  EXPECT_NE(states[0].recorder, states[2].recorder);
}

TEST(Recorders, KnowsATrackThatIsSilentBeforeASeamByItsLengthAndTheLineAfterIt) {
  const auto with_seam = heard_track(300.0, {{6.0, 90.0, 1.772}, {102.0, 290.0, 1.55}});
  const auto late = heard_track(300.0, {{120.0, 290.0, 1.55}});
  ASSERT_EQ(with_seam.pieces.size(), 2U);
  std::vector<TrackState> states{with_seam, late};
  find_recorders(states);
  EXPECT_EQ(states[0].recorder, states[1].recorder);

  states = {with_seam, heard_track(299.0, {{120.0, 290.0, 1.55}})};
  find_recorders(states);
  EXPECT_NE(states[0].recorder, states[1].recorder) << "of another length it may be another's";
}

}  // namespace
}  // namespace kilter::sync

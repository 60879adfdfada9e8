// Sessions by lot in which a track once was firm and in the wrong place.
#include <gtest/gtest.h>

#include "accuracy/cases.h"
#include "accuracy/judge.h"

namespace kilter::accuracy {
namespace {

struct Lot {
  const char* what;
  std::uint64_t seed;
};

class FirmTracks : public testing::TestWithParam<Lot> {};

TEST_P(FirmTracks, AreInTheirPlaces) {
  const Session session = make_session(random_order(GetParam().seed), "", 2);
  sync::AlignOptions options;
  options.threads = 2;
  const auto alignment = sync::align(session.mix_input, session.inputs, options);
  ASSERT_TRUE(alignment);
  for (const TrackOutcome& track : judge(session, *alignment).tracks)
    EXPECT_FALSE(track.wrong_firm()) << track.name;
}

INSTANTIATE_TEST_SUITE_P(
    Lots, FirmTracks,
    testing::Values(Lot{"WhereAGuestsFileHoldsThirtyMillisecondsTwice", 1'011'074},
                    Lot{"WhereAWordBeforeTheMixSoundsLikeAnotherInIt", 1'011'094},
                    Lot{"WhereAWordEndsFaintlyAtALoss", 1'023'081},
                    Lot{"WhereTheMixLostSomethingBeforeAStreamMoved", 1'021'087},
                    Lot{"WhereADeskLostSomethingBeforeTheOnlyGuestTalks", 1'021'016},
                    Lot{"WhereAStreamMovedBetweenAGuestsFewWords", 1'036'120}),
    [](const auto& lot) { return lot.param.what; });

}  // namespace
}  // namespace kilter::accuracy

#include "kilter/intake/loudness_meter.h"

#include <gtest/gtest.h>

#include "support/sound_files.h"

namespace kilter::intake {
namespace {

TEST(LoudnessMeter, ReadsTheReferenceToneAsTheStandardSays) {
  // BS.1770: a sine of 997 Hz at 0 dBFS on one front channel reads -3.01 LUFS.
  for (const int rate_hz : {44100, 48000, 96000}) {
    LoudnessMeter meter({static_cast<double>(rate_hz)});
    meter.process(test::sine(static_cast<std::size_t>(10 * rate_hz), 997.0, rate_hz, 0.1));
    // Its histogram has steps of 0.1 LU.
    EXPECT_NEAR(meter.integrated_lufs().value_or(0.0), -23.01, 0.06) << rate_hz;
  }
}

TEST(LoudnessMeter, TellsNothingOfSilence) {
  LoudnessMeter meter({48000.0});
  EXPECT_FALSE(meter.integrated_lufs());
  meter.process(std::vector<float>(480000, 0.0F));
  EXPECT_FALSE(meter.integrated_lufs());
}

}  // namespace
}  // namespace kilter::intake

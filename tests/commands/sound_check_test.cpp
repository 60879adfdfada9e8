// A minute before the show: everybody says a line, and the program says what to mend.
#include <gtest/gtest.h>

#include <filesystem>

#include "run_kilter.h"
#include "simulator/session_files.h"
#include "simulator/simulator.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

class SoundCheck : public testing::Test {
 protected:
  test::Told check(const simulator::SessionSpec& spec, bool with_mix) const {
    const auto take = simulator::simulate(spec, simulator::SyntheticVoices(spec.seed), 2);
    EXPECT_TRUE(take) << take.error().what;
    const fs::path folder = work_ / "take";
    EXPECT_TRUE(simulator::write_session(*take, folder, {}));
    if (!with_mix) fs::remove(folder / "mixdown.wav");
    return test::run_kilter({"survey", folder.string(), "--sound-check"});
  }
  static simulator::SessionSpec four_in_a_room() {
    auto spec = simulator::hybrid_session(41, 60.0, 4, 0);
    spec.recorders[0].start_s = -2.0;
    return spec;
  }

  test::TemporaryFolder work_;
};

TEST_F(SoundCheck, PassesWhereEveryInputIsItsOwn) {
  for (const bool with_mix : {true, false}) {
    const test::Told told = check(four_in_a_room(), with_mix);
    EXPECT_EQ(told.exit, 0) << told.out << told.err;
    EXPECT_NE(told.out.find("all 4 inputs are alive"), std::string::npos) << told.out;
  }
}

struct FaultCase {
  const char* name;
  simulator::Input input;
  const char* remedy;
};

class SoundCheckOf : public SoundCheck, public testing::WithParamInterface<FaultCase> {};

TEST_P(SoundCheckOf, SaysWhatToMend) {
  for (const bool with_mix : {true, false}) {
    auto spec = four_in_a_room();
    spec.people[3].input = GetParam().input;
    spec.people[3].copy_of = 1;
    spec.people[3].copy_gain_db = -4.0;
    spec.people[3].copy_fresh_noise = true;
    const test::Told told = check(spec, with_mix);
    EXPECT_EQ(told.exit, 1) << told.out << told.err;
    EXPECT_NE(told.out.find("3 of 4 inputs are in order"), std::string::npos) << told.out;
    const std::string words = test::unwrapped(told.out);
    EXPECT_NE(words.find(GetParam().remedy), std::string::npos) << words;
  }
}

INSTANTIATE_TEST_SUITE_P(
    Inputs, SoundCheckOf,
    testing::Values(FaultCase{"Dead", simulator::Input::dead, "check its cable"},
                    FaultCase{"Silent", simulator::Input::silent, "check its cable"},
                    FaultCase{"ACopy", simulator::Input::copy, "a microphone of its own"},
                    FaultCase{"TheMixersMix", simulator::Input::mixer_mix,
                              "in place of the mixer's mix"}),
    [](const auto& each) { return each.param.name; });

}  // namespace
}  // namespace kilter

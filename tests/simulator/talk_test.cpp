#include "talk.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>

namespace kilter::simulator {
namespace {

TEST(Talk, KeepsEverybodysShare) {
  const std::vector<double> shares{0.4, 0.2, 0.15, 0.03, 0.0};
  for (const std::uint64_t seed : {1U, 2U, 3U, 4U, 5U}) {
    std::vector<double> spoken_s(shares.size(), 0.0);
    for (const Utterance& u : plan_talk(seed, shares, -100.0, 500.0))
      spoken_s[static_cast<std::size_t>(u.person)] += u.length_s;
    // A turn ends with the sentence (8 s, 4 s of a quiet person) that brings its speaker 4 s ahead.
    for (std::size_t i = 0; i < shares.size(); ++i)
      EXPECT_NEAR(spoken_s[i], 600.0 * shares[i], shares[i] < 0.1 ? 8.0 : 12.0) << i;
  }
}

TEST(Talk, IsInOrderAndNobodyTalksOverHimself) {
  const auto talk = plan_talk(9, {0.3, 0.3, 0.2}, -50.0, 250.0);
  ASSERT_GT(talk.size(), 20U);
  std::map<int, double> silent_from_s;
  double last_s = -50.0;
  for (const Utterance& u : talk) {
    EXPECT_GE(u.line_from_s, last_s);
    last_s = u.line_from_s;
    EXPECT_GT(u.length_s, 0.3);
    EXPECT_LE(u.line_from_s + u.length_s, 250.0);
    if (silent_from_s.contains(u.person)) {
      EXPECT_GE(u.line_from_s, silent_from_s[u.person] - 1e-9);
    }
    silent_from_s[u.person] = u.line_from_s + u.length_s;
  }
}

TEST(Talk, HasPausesAndOverlaps) {
  const auto talk = plan_talk(2, {0.3, 0.3, 0.2}, 0.0, 600.0);
  double heard_until_s = 0.0;
  int pauses = 0;
  int overlaps = 0;
  for (const Utterance& u : talk) {
    if (u.line_from_s > heard_until_s + 0.15) ++pauses;
    if (u.line_from_s < heard_until_s - 0.05) ++overlaps;
    heard_until_s = std::max(heard_until_s, u.line_from_s + u.length_s);
  }
  EXPECT_GT(pauses, 20);
  EXPECT_GT(overlaps, 5);
}

TEST(Talk, SharesWhatIsLeftAmongTheOthers) {
  std::vector<Person> people(3);
  people[1].talk_share = 0.05;
  const auto shares = talk_shares(people);
  EXPECT_DOUBLE_EQ(shares[0], 0.4);
  EXPECT_DOUBLE_EQ(shares[1], 0.05);
  EXPECT_DOUBLE_EQ(shares[2], 0.4);
}

}  // namespace
}  // namespace kilter::simulator

#include "edges.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace kilter::conform {
namespace {

constexpr double kRate_hz = 48000.0;

struct Row {
  const char* name;
  std::vector<Span> spans;  // in frames at 48 kHz
  double stem_from_s;
  std::vector<Edge> expected;
};

void PrintTo(const Row& row, std::ostream* out) { *out << row.name; }

class EdgesOf : public testing::TestWithParam<Row> {};

TEST_P(EdgesOf, AreWhereSoundBeginsAndEnds) {
  const Row& row = GetParam();
  std::vector<Span> spans = row.spans;
  for (Span& span : spans)
    for (double* bound : {&span.from_s, &span.to_s, &span.line_from_s, &span.line_to_s})
      *bound /= kRate_hz;
  const auto edges = edges_of(*TimeMap::make(spans), kRate_hz, row.stem_from_s);
  ASSERT_EQ(edges.size(), row.expected.size());
  for (std::size_t i = 0; i < edges.size(); ++i) {
    EXPECT_EQ(edges[i].first, row.expected[i].first) << i;
    EXPECT_EQ(edges[i].end, row.expected[i].end) << i;
    EXPECT_EQ(edges[i].rises, row.expected[i].rises) << i;
    EXPECT_EQ(edges[i].only_clicks, row.expected[i].only_clicks) << i;
  }
}

INSTANTIATE_TEST_SUITE_P(
    All, EdgesOf,
    testing::Values(Row{"AWholeTrack",
                        {{0, 48000, 100, 48100, 0}},
                        0.0,
                        {{100, 196, true, true}, {48004, 48100, false, true}}},
                    Row{"AStemThatStartsAmidTheTrack",
                        {{0, 96000, 0, 96000, 0}},
                        1.0,
                        {{47904, 48000, false, true}}},
                    Row{"AStemThatStartsAmidAFade",
                        {{0, 96000, 0, 96000, 0}},
                        48.0 / kRate_hz,
                        {{-48, 48, true, true}, {95856, 95952, false, true}}},
                    Row{"SomethingLost",
                        {{0, 48000, 0, 48000, 0}, {48000, 96000, 60000, 108000, 0}},
                        0.0,
                        {{0, 96, true, true},
                         {47760, 48000, false, false},
                         {60000, 60240, true, false},
                         {107904, 108000, false, true}}},
                    Row{"SomethingRepeatedIsCutOutWithoutAFade",
                        {{0, 48000, 0, 48000, 0}, {50000, 96000, 48000, 94000, 0}},
                        0.0,
                        {{0, 96, true, true}, {93904, 94000, false, true}}},
                    Row{"AnotherRateFromOneSpanToTheNext",
                        {{0, 48000, 0, 48000.4, 0}, {48000, 96000, 48000.4, 96000.2, 0}},
                        0.0,
                        {{0, 96, true, true}, {95905, 96001, false, true}}},
                    Row{"APieceShorterThanItsFades",
                        {{0, 100, 0, 100, 0}, {100, 200, 1000, 1100, 0}},
                        0.0,
                        {{0, 50, true, true},
                         {50, 100, false, false},
                         {1000, 1050, true, false},
                         {1050, 1100, false, true}}}),
    [](const auto& each) { return each.param.name; });

TEST(Fade, KeepsThePowerOfWhatRisesAndFallsTogether) {
  std::vector<float> up(240, 1.0F);
  std::vector<float> down(240, 1.0F);
  EXPECT_TRUE(fade({0, 240, true, false}, 0, up));
  EXPECT_TRUE(fade({0, 240, false, false}, 0, down));
  for (std::size_t i = 0; i < up.size(); ++i) {
    EXPECT_NEAR(up[i] * up[i] + down[i] * down[i], 1.0, 1e-6) << i;
    if (i > 0) {
      EXPECT_GT(up[i], up[i - 1]);
    }
  }
}

TEST(Fade, LeavesAQuietEndAlone) {
  const Edge end{1000, 1096, false, true};
  std::vector<float> quiet(96, 0.5F);
  std::fill(quiet.end() - 16, quiet.end(), 0.002F);
  const std::vector<float> before = quiet;
  EXPECT_FALSE(fade(end, 1000, quiet));
  EXPECT_EQ(quiet, before);
  quiet.back() = -0.004F;
  EXPECT_TRUE(fade(end, 1000, quiet));
  EXPECT_NE(quiet, before);
}

TEST(Fade, OfALossGoesOnWhereAStemStartsWithinIt) {
  const Edge edge{-48, 48, true, false};
  std::vector<float> whole(96, 1.0F);
  std::vector<float> rest(48, 1.0F);
  EXPECT_TRUE(fade(edge, -48, whole));
  EXPECT_TRUE(fade(edge, 0, rest));
  EXPECT_EQ(rest, std::vector<float>(whole.begin() + 48, whole.end()));
}

}  // namespace
}  // namespace kilter::conform

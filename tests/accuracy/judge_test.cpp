#include "accuracy/judge.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "accuracy/cases.h"
#include "accuracy/page.h"

namespace kilter::accuracy {
namespace {

/// Two of a room and a guest. The guest's file lost half a second; one of the room's is inverted.
const Session& session() {
  static const Session made = [] {
    Order order{simulator::hybrid_session(61, 90.0, 2, 1)};
    simulator::SessionSpec& spec = order.spec;
    for (auto& clock : spec.recorders) clock.start_s = -3.0;
    spec.faults_amid_speech = true;
    spec.people[0].inverted = true;
    spec.people[2].damage = {{simulator::Damage::Kind::lost, 45.0, 0.5}};
    order.foreign = 1;
    return make_session(order, "", 2);
  }();
  return made;
}

/// What an estimator would say that knows the truth, `late_us` off.
sync::Alignment truthful(double late_us, const Session& of = session()) {
  sync::Alignment alignment;
  for (std::size_t k = 0; k < of.inputs.size(); ++k) {
    sync::TrackPlacing placing;
    if (of.truth[k] >= 0) {
      const auto& track = of.sound.tracks[static_cast<std::size_t>(of.truth[k])];
      placing.standing = Standing::firm;
      placing.inverted = track.inverted;
      placing.uncertainty_us = 10.0;
      std::vector<Span> spans;
      double from_s = 0.0;
      const auto add = [&](double to_s) {
        const double inside_s = 1e-9;  // on this side of the seam
        spans.push_back({from_s, to_s, track.line_of(from_s + inside_s) + 1e-6 * late_us,
                         track.line_of(to_s - inside_s) + 1e-6 * late_us, 10.0});
        from_s = to_s;
      };
      for (const auto& seam : track.seams) {
        add(seam.track_from_s);
        Finding finding;
        finding.code = "seam";
        finding.at_s = seam.track_from_s;
        finding.step_s = seam.step_s;
        finding.cause = seam.cause;
        placing.findings.push_back(finding);
      }
      add(of.inputs[k].length_s);
      placing.map = *TimeMap::make(spans);
    }
    alignment.tracks.push_back(std::move(placing));
  }
  return alignment;
}

constexpr std::size_t kGuest = 2;

Row row_of(const sync::Alignment& alignment) {
  Row row;
  row.add(judge(session(), alignment));
  return row;
}

TEST(Judge, HasNothingToSayAgainstTheTruth) {
  const Row row = row_of(truthful(0.0));
  EXPECT_EQ(row.complaints(10.0, true), "");
  EXPECT_LT(row.worst_us(), 0.01);
  EXPECT_EQ(row.seams().due, 1);
  EXPECT_EQ(row.seams().found, 1);
  EXPECT_EQ(row.codes().due, 1);  // inverted
  EXPECT_EQ(row.held_percent(), 100.0);
}

TEST(Judge, MeasuresErrorsAgainstLimitAndBound) {
  const Row row = row_of(truthful(15.0));
  EXPECT_NEAR(row.error_us(0.5), 15.0, 0.01);
  EXPECT_EQ(row.complaints(10.0, true), "e");
  EXPECT_EQ(row.outside_bound(), 3);
  EXPECT_EQ(row.wrong_firm(), 0);
  EXPECT_EQ(row_of(truthful(1500.0)).wrong_firm(), 3);
}

TEST(Judge, MissesASeamThatIsNotTold) {
  sync::Alignment alignment = truthful(0.0);
  alignment.tracks[kGuest].findings.clear();
  EXPECT_EQ(row_of(alignment).complaints(10.0, true), "s");
}

TEST(Judge, TellsSeamsThatAreNoneAndWhoIsBlamedWrongly) {
  sync::Alignment alignment = truthful(0.0);
  Finding elsewhere = alignment.tracks[kGuest].findings[0];
  elsewhere.at_s = *elsewhere.at_s - 40.0;
  alignment.tracks[kGuest].findings.push_back(elsewhere);
  alignment.tracks[kGuest].findings[0].cause = "mix";
  const Row row = row_of(alignment);
  EXPECT_EQ(row.seams().false_ones, 1);
  EXPECT_EQ(row.seams().wrong_cause, 1);
  EXPECT_EQ(row.complaints(10.0, true), "c");
}

TEST(Judge, MeasuresTheStepAndThePlaceOfASeam) {
  sync::Alignment alignment = truthful(0.0);
  Finding& finding = alignment.tracks[kGuest].findings[0];
  finding.step_s = *finding.step_s + 150e-6;
  EXPECT_NEAR(row_of(alignment).seams().worst_step_us, 150.0, 0.01);
  finding.at_s = *finding.at_s + 30.0;
  EXPECT_EQ(row_of(alignment).seams().found, 0);
}

TEST(Judge, LetsASeamLieAnywhereInItsPauseThoughTheHeaderStatesAnotherRate) {
  constexpr std::size_t kThird = 1;  // his file takes three seconds for one
  Order order{simulator::hybrid_session(61, 90.0, 1, 1)};
  simulator::Clock& clock = order.spec.recorders[1];
  clock.rate_hz = 96000.0;
  clock.header_rate_hz = 32000.0;
  order.spec.people[kThird].stream.steps = {{30.0, 0.05}};
  const Session session = make_session(order, "", 2);
  const auto& track = session.sound.tracks[kThird];
  ASSERT_EQ(track.seams.size(), 1U);
  const double stepped_s = track.seams[0].line_after_s;
  double speaks_s = 1e9;
  for (const auto& said : session.sound.talk)
    if (said.person == static_cast<int>(kThird) && said.line_from_s > stepped_s)
      speaks_s = std::min(speaks_s, said.line_from_s);
  ASSERT_LT(stepped_s + 2.0, speaks_s);
  ASSERT_LT(speaks_s, 90.0);

  sync::Alignment alignment = truthful(0.0, session);
  Finding& seam = alignment.tracks[kThird].findings.at(0);
  const auto seams = [&](double line_s) {
    seam.at_s = track.seams[0].track_to_s + 3.0 * (line_s - stepped_s);
    return judge(session, alignment).seams;
  };
  EXPECT_EQ(seams(speaks_s - 0.1).false_ones, 0);
  EXPECT_EQ(seams(speaks_s + 3.0).false_ones, 1);
}

TEST(Judge, CountsAPlacedStrangerAsWrong) {
  sync::Alignment alignment = truthful(0.0);
  alignment.tracks.back() = alignment.tracks[0];
  const Row row = row_of(alignment);
  EXPECT_EQ(row.wrong_firm(), 1);
  EXPECT_NE(row.complaints(10.0, true).find('f'), std::string::npos);
}

TEST(Judge, WantsTheFindingsThatAreDueAndNoOthers) {
  sync::Alignment alignment = truthful(0.0);
  alignment.tracks[0].inverted = false;
  Finding leak;
  leak.code = "leak";
  alignment.tracks[kGuest].findings.push_back(leak);
  const CodeTally codes = row_of(alignment).codes();
  EXPECT_EQ(codes.found, 0);
  EXPECT_EQ(codes.false_ones, 1);
}

TEST(Judge, CountsAMissingVoiceThatIsNotMissing) {
  sync::Alignment alignment = truthful(0.0);
  Finding voice;
  voice.code = "missing-voice";
  const auto& first = session().sound.talk.front();
  const double from_s = std::max(10.0, first.line_from_s);
  voice.stretches = {{from_s, from_s + 5.0}};
  alignment.findings.push_back(voice);
  EXPECT_NEAR(row_of(alignment).voices().false_s, 5.0, 0.5);
}

TEST(Judge, FindsAFileThatWasLeftOutOfTheMap) {
  sync::Alignment alignment = truthful(0.0);
  std::vector<Span> spans(alignment.tracks[0].map->spans().begin(),
                          alignment.tracks[0].map->spans().end());
  const double half_s = 0.5 * (spans[0].from_s + spans[0].to_s);
  spans[0].line_to_s = *alignment.tracks[0].map->to_line(half_s);
  spans[0].to_s = half_s;
  alignment.tracks[0].map = *TimeMap::make(spans);
  EXPECT_EQ(row_of(alignment).complaints(10.0, true), "u");
}

TEST(ReliabilityTable, CountsByWhatWasStated) {
  TrackOutcome inside;
  inside.standing = Standing::firm;
  inside.bound = {5.0, 4.0};
  TrackOutcome outside = inside;
  outside.bound = {30.0, 31.0};
  const std::string table = reliability_table({inside, outside});
  EXPECT_NE(table.find("below 10               1      100.0"), std::string::npos) << table;
  EXPECT_NE(table.find("below 50               1        0.0"), std::string::npos) << table;
  EXPECT_NE(table.find("all                    2       50.0"), std::string::npos) << table;
}

TEST(Cases, HaveNamesOfTheirOwn) {
  for (const Case& a : cases())
    for (const Case& b : cases()) EXPECT_EQ(&a == &b, a.name == b.name) << a.name;
}

TEST(RandomOrders, AreTheSameForTheSameSeed) {
  for (const std::uint64_t seed : {1U, 2U, 3U}) {
    const Order one = random_order(seed);
    const Order two = random_order(seed);
    EXPECT_EQ(one.spec.length_s, two.spec.length_s);
    EXPECT_EQ(one.spec.people.size(), two.spec.people.size());
    EXPECT_NE(one.spec.length_s, random_order(seed + 10).spec.length_s);
  }
}

}  // namespace
}  // namespace kilter::accuracy

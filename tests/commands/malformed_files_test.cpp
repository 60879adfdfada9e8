// Files that are broken in one way each, through the command line: one clear message and the right
// exit code, and no broken file stops its neighbours.
#include "support/malformed_files.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>
#include <string>

#include "kilter/media/audio_file.h"
#include "run_kilter.h"
#include "support/ffmpeg_tool.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

using test::Defect;
using test::Expect;
using Json = nlohmann::json;

bool can_be_tried(const Defect& defect) {
  return (defect.options[0] == '\0' || test::has_ffmpeg()) &&
         (!test::needs_libav(defect.kind) || media::reads_video_files());
}

std::string file_name(const Defect& defect) { return std::string(defect.name) + '.' + defect.kind; }

bool holds(const Json& findings, const std::string& code) {
  return std::any_of(findings.begin(), findings.end(),
                     [&](const Json& finding) { return finding.at("code") == code; });
}

/// Whether any finding says that something is wrong with the file rather than with its sound.
bool tells_of_damage(const Json& findings) {
  return holds(findings, "truncated") || holds(findings, "dropout") || holds(findings, "overlap") ||
         holds(findings, "not-a-number");
}

class MalformedAlone : public testing::TestWithParam<Defect> {};

TEST_P(MalformedAlone, IsRefusedInOneMessageOrSurveyed) {
  const Defect& defect = GetParam();
  if (!can_be_tried(defect)) GTEST_SKIP() << "ffmpeg or its libraries are not there";
  const test::TemporaryFolder folder;
  test::write_text(folder / file_name(defect), test::malformed_file(defect));
  const test::Told told = test::run_kilter({"survey", (folder / file_name(defect)).string()});
  if (defect.expect != Expect::refused) {
    EXPECT_EQ(told.exit, 1) << told.err;  // at the least it has no mix
    EXPECT_NE(told.out, "");
    EXPECT_EQ(told.err, "");
    return;
  }
  EXPECT_EQ(told.exit, 3) << told.out;
  EXPECT_EQ(told.out, "");
  EXPECT_TRUE(told.err.starts_with("kilter: cannot read \"")) << told.err;
  EXPECT_NE(told.err.find(file_name(defect)), std::string::npos) << told.err;
  EXPECT_EQ(std::count(told.err.begin(), told.err.end(), '\n'), 2) << told.err;
}

INSTANTIATE_TEST_SUITE_P(Files, MalformedAlone, testing::ValuesIn(test::all_defects()),
                         [](const auto& each) { return std::string(each.param.name); });

TEST(MalformedFolder, IsSurveyedToItsLastFile) {
  const test::TemporaryFolder folder;
  std::vector<std::string> args{"survey", "--json"};
  std::map<std::string, Expect> expected;
  for (const Defect& defect : test::all_defects()) {
    if (!can_be_tried(defect)) continue;
    test::write_text(folder / file_name(defect), test::malformed_file(defect));
    args.push_back((folder / file_name(defect)).string());
    expected[file_name(defect)] = defect.expect;
  }
  ASSERT_GE(expected.size(), 40U);
  test::write_sound(folder / "keeper.wav", {test::noise(96000, 0.1F, 11)}, 48000);
  test::write_sound(folder / "mixdown.wav", {test::noise(96000, 0.1F, 12)}, 48000);
  args.push_back((folder / "keeper.wav").string());
  args.push_back((folder / "mixdown.wav").string());
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, 1);
  const Json survey = Json::parse(told.out);
  EXPECT_EQ(survey.at("mix").at("file"), "mixdown.wav");
  std::map<std::string, bool> seen;
  for (const Json& track : survey.at("tracks")) {
    const std::string file = track.at("file");
    const Json& findings = track.at("findings");
    seen[file] = true;
    if (file == "keeper.wav") {
      EXPECT_FALSE(holds(findings, "unreadable"));
      continue;
    }
    ASSERT_TRUE(expected.contains(file)) << file;
    EXPECT_EQ(holds(findings, "unreadable"), expected[file] == Expect::refused) << file;
    EXPECT_EQ(tells_of_damage(findings), expected[file] == Expect::told) << file;
  }
  EXPECT_EQ(seen.size(), expected.size() + 1);
}

}  // namespace
}  // namespace kilter

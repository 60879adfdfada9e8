#include "kilter/report/survey_report.h"

#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <sstream>

#include "kilter/report/text_table.h"

namespace kilter::report {
namespace {

using survey::Survey;
using survey::SurveyFile;
using survey::SurveyTrack;

intake::Levels levels(double level_dbfs, double peak_dbfs, double floor_dbfs) {
  intake::Levels result;
  result.level_dbfs = level_dbfs;
  result.peak_dbfs = peak_dbfs;
  result.floor_dbfs = floor_dbfs;
  result.talk_share = 0.4;
  return result;
}

SurveyFile file(const std::string& name, const std::string& format, int channels) {
  return {name, {format, {44100.0}, channels, {44100 * 61}, false}, {44100 * 61}, {}};
}

Finding finding(const std::string& code, const std::string& text) {
  Finding result;
  result.code = code;
  result.text = text;
  return result;
}

Survey example() {
  Survey survey;
  survey.session = "lighthouse-hour-12";
  survey.files = {file("desk.wav", "WAV 24-bit", 4), file("mixdown.mp3", "MP3", 2),
                  SurveyFile{"broken.wav", {}, {}, Error{}}};
  survey.mix.emplace();
  survey.mix->file = 1;
  survey.mix->found_by = "by its name";
  survey.mix->levels = {levels(-20.0, -3.0, -60.0), levels(-18.0, -1.0, -58.0)};
  for (intake::Levels& channel : survey.mix->levels) channel.loudness_lufs = -21.01;
  SurveyTrack keeper;
  keeper.name = "desk-ch1";
  keeper.same_channels = {2};
  keeper.levels = levels(-23.44, -6.0, -INFINITY);
  SurveyTrack mate;
  mate.name = "desk-ch3";
  mate.channel = 3;
  mate.levels = levels(-70.0, -60.0, -71.0);
  mate.findings = {finding("dead", "Only noise."), finding("dc", "An offset.")};
  SurveyTrack broken;
  broken.name = "broken";
  broken.file = 2;
  broken.findings = {finding("unreadable", "Cannot be read.")};
  survey.tracks = {keeper, mate, broken};
  survey.findings = {finding("silent", "Channel 4 is silent.")};
  return survey;
}

TEST(SurveyReport, ReadsAsExpected) {
  EXPECT_EQ(survey_text(example()),
            R"(lighthouse-hour-12: 3 files, 3 tracks; the mix is "mixdown.mp3" (by its name)

track           ch  format      rate    length   loud   peak  floor  talk  note
                                 kHz  hh:mm:ss   LUFS   dBFS   dBFS     %
mixdown.mp3    1-2  MP3         44.1  00:01:01  -18.0   -1.0  -58.0    40  mix
desk-ch1     1+2/4  WAV 24-bit  44.1  00:01:01      -   -6.0   -inf    40
desk-ch3       3/4  WAV 24-bit  44.1  00:01:01      -  -60.0  -71.0    40  1, 2
broken           1  unreadable     -         -      -      -      -     -  3

 1. desk-ch3: Only noise.
 2. desk-ch3: An offset.
 3. broken: Cannot be read.
 4. Channel 4 is silent.
)");
}

TEST(SurveyReport, TellsWhenFilesBeganAndOfHowManyATakeIsMade) {
  Survey survey = example();
  survey.files[0].stamp = media::StartStamp{std::int64_t{48000} * 36061, {48000.0}, "2024-03-09"};
  survey.files[0].parts = {{"desk.wav", {100}}, {"desk-2.wav", {100}}};
  survey.not_joined = {{"guest-1.wav", "guest-2.wav", false}, {"mic-1.wav", "mic-2.wav", true}};
  const std::string text = survey_text(survey);
  EXPECT_NE(text.find("guest-1.wav and guest-2.wav. Where"), std::string::npos) << text;
  EXPECT_NE(survey_json(survey).find("\"not_joined\""), std::string::npos);
  EXPECT_NE(text.find("10:01:01"), std::string::npos) << text;
  EXPECT_NE(text.find("One take in several files: desk.wav, desk-2.wav."), std::string::npos)
      << text;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(display_width(line), 80) << line;
  const auto document = nlohmann::json::parse(survey_json(survey));
  EXPECT_EQ(document["files"][0]["parts"][1]["file"], "desk-2.wav");
  EXPECT_EQ(document["files"][0]["stamp_s"], 36061.0);
}

TEST(SurveyReport, KeepsTo80ColumnsWithLongNames) {
  Survey survey = example();
  survey.files[0].info.format = "WAV 32-bit float";
  survey.tracks[1].name = "the-lighthouse-keepers-second-microphone-take-3";
  survey.tracks[1].findings.front().text = std::string(30, 'x') + ' ' + std::string(60, 'y');
  std::istringstream text(survey_text(survey));
  for (std::string line; std::getline(text, line);) EXPECT_LE(display_width(line), 80) << line;
}

TEST(SurveyReport, IsOneJsonDocumentWithNullForSilence) {
  const auto document = nlohmann::json::parse(survey_json(example()));
  EXPECT_EQ(document["kind"], "kilter survey");
  EXPECT_EQ(document["mix"]["file"], "mixdown.mp3");
  EXPECT_EQ(document["files"].size(), 3U);
  EXPECT_EQ(document["files"][0]["frames"], 44100 * 61);
  EXPECT_EQ(document["files"][2]["readable"], false);
  EXPECT_TRUE(document["tracks"][0]["levels"]["floor_dbfs"].is_null());
  EXPECT_EQ(document["tracks"][0]["same_channels"], nlohmann::json::array({2}));
  EXPECT_EQ(document["tracks"][1]["findings"][0]["code"], "dead");
  EXPECT_TRUE(document["tracks"][2]["levels"].is_null());
}

TEST(SurveyReport, SurvivesNamesThatAreNotUtf8) {
  Survey survey = example();
  survey.tracks[0].name = "k\xff";
  EXPECT_TRUE(nlohmann::json::accept(survey_json(survey)));
  EXPECT_NE(survey_text(survey).find("k?"), std::string::npos);
}

}  // namespace
}  // namespace kilter::report

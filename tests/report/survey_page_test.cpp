#include "kilter/report/survey_page.h"

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "kilter/report/survey_report.h"
#include "sample_pages.h"

namespace kilter::report {
namespace {

using test::sample_survey;

SurveyPage page_of(const survey::Survey& survey) {
  return {&survey, {}, "kilter 0.0.0", "kilter survey lighthouse-hour-14"};
}

bool says(const survey::Survey& survey, const std::string& text) {
  return survey_html(page_of(survey)).find(text) != std::string::npos;
}

TEST(SurveyPage, SaysInASentenceWhatArrivedAndWhatNeedsAPerson) {
  survey::Survey survey = sample_survey();
  EXPECT_EQ(survey_sentence(page_of(survey)),
            "4 tracks arrived in 5 files; the mix is mixdown.flac (by its name); 1 file cannot be "
            "read. 3 things need a person first.");
  survey.tracks.resize(1);
  survey.files.resize(2);
  survey.findings.clear();
  EXPECT_EQ(survey_sentence(page_of(survey)),
            "1 track arrived in 3 files; the mix is mixdown.flac (by its name). Nothing needs a "
            "person before it is aligned.");
  survey.mix.reset();
  Finding no_mix;
  no_mix.code = "no-mix";
  survey.findings = {no_mix};
  EXPECT_EQ(survey_sentence(page_of(survey)),
            "1 track arrived in 3 files; which file is the mix is not known, or there is none. One "
            "thing needs a person first.");
}

TEST(SurveyPage, AsksForWhatTheSurveyAsksFor) {
  survey::Survey survey = sample_survey();
  EXPECT_TRUE(says(survey, "</span> <bdi>mate</bdi>: Sound lost on the way</h3>"));
  EXPECT_TRUE(survey::needs_person(survey));
  for (survey::SurveyTrack& track : survey.tracks) track.role = Role::ignore;
  survey.findings.clear();
  EXPECT_FALSE(survey::needs_person(survey));
  EXPECT_FALSE(says(survey, "id=\"needs\""));
  survey.tracks[0].role.reset();
  survey.tracks[0].mix_copy = survey::MixCopy::mix_word;  // which of the two is the mix?
  survey.tracks[0].findings.emplace_back().code = "mix-copy";
  EXPECT_TRUE(survey::needs_person(survey));
  EXPECT_TRUE(says(survey, "id=\"needs\""));
  survey.tracks[0].mix_copy = survey::MixCopy::same_samples;
  EXPECT_FALSE(survey::needs_person(survey));
  EXPECT_FALSE(says(survey, "id=\"needs\""));
}

TEST(SurveyPage, OfASoundCheckAsksForWhatWantsMending) {
  const survey::Survey survey = sample_survey();
  SurveyPage page = page_of(survey);
  page.must_be_seen_to = [](const Finding& finding) { return finding.code == "low-level"; };
  EXPECT_NE(survey_sentence(page).find("One thing needs a person first."), std::string::npos);
  EXPECT_NE(survey_html(page).find("</span> <bdi>mate</bdi>: Very quiet</h3>"), std::string::npos);
}

TEST(SurveyPage, DrawsEachRecordingFromItsOwnBeginning) {
  const std::string html = survey_html(page_of(sample_survey()));
  const std::string start = "<script type=\"application/json\" id=\"data\">";
  const auto from = html.find(start) + start.size();
  const auto data = nlohmann::json::parse(html.substr(from, html.find("</script>", from) - from));
  EXPECT_EQ(data["from"], 0.0);
  EXPECT_EQ(data["to"], 640.0);
  ASSERT_EQ(data["lanes"].size(), 5U);
  EXPECT_EQ(data["lanes"][2]["spans"], nlohmann::json::parse("[[0.0,640.0,0.0,640.0]]"));
  EXPECT_FALSE(data["lanes"][2].contains("curve"));
  EXPECT_TRUE(data["lanes"][3]["spans"].empty());  // which cannot be read
}

TEST(SurveyPage, ListsFilesWithTheirTakesAndStamps) {
  const survey::Survey survey = sample_survey();
  EXPECT_TRUE(says(survey,
                   "<bdi>desk.wav</bdi>, <bdi>desk-2.wav</bdi></th><td>WAV 24-bit</td><td>"
                   "00:10:40</td><td>48000</td><td>2</td><td>20:00:00</td><td>2 tracks"));
  EXPECT_TRUE(says(survey, "<td>the mix, by its name</td>"));
  EXPECT_TRUE(says(survey, "<bdi>gone.m4a</bdi></th><td>unreadable</td>"));
  EXPECT_TRUE(says(survey, "channel 2 of 2"));
}

TEST(SurveyPage, ShowsLoudnessOnlyWhereItWasMeasured) {
  survey::Survey survey = sample_survey();
  EXPECT_FALSE(says(survey, "LUFS"));
  survey.tracks[0].levels->loudness_lufs = -23.4;
  EXPECT_TRUE(says(survey, "<td>-23.4</td>"));
}

TEST(SurveyPage, NumbersAsTheTableDoes) {
  survey::Survey survey = sample_survey();
  const auto told = [](const char* code, const char* text) {
    Finding finding;
    finding.code = code;
    finding.text = text;
    return finding;
  };
  survey.mix->findings = {told("clipped", "The mix is cut off.")};
  survey.findings = {told("folder-left-out", "A folder."), told("several-mixes", "Two mixes.")};
  const std::string text = survey_text(survey);
  EXPECT_NE(text.find("\n 1. Two mixes."), std::string::npos) << text;
  EXPECT_NE(text.find("\n 2. mixdown.flac: The mix is cut off."), std::string::npos) << text;
  EXPECT_TRUE(says(survey, "<span class=\"number\">1</span> More than one file"));
  EXPECT_TRUE(says(survey, "<span class=\"number\">2</span> <bdi>mixdown.flac</bdi>"));
}

TEST(SurveyPage, EscapesAndFetchesNothing) {
  const std::string html = survey_html(page_of(sample_survey()));
  EXPECT_EQ(html.find("<script>document"), std::string::npos);
  EXPECT_EQ(html.find("<img"), std::string::npos);
  for (const char* way : {"http:", "https:", "url(", " src=\"", "<link", "media-src"})
    EXPECT_EQ(html.find(way), std::string::npos) << way;
  EXPECT_EQ(html, survey_html(page_of(sample_survey())));
}

TEST(SurveyPage, OfNoTrackStillOpens) {
  survey::Survey survey;
  survey.session = "empty";
  EXPECT_TRUE(says(survey, "0 tracks arrived in 0 files"));
}

}  // namespace
}  // namespace kilter::report

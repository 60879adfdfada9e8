// The report's page with names and texts of any kind: they stay texts. The page has the elements
// that it has with plain names, its data are the data, and what is read back is what went in.
#include <nlohmann/json.hpp>
#include <set>

#include "fuzz.h"
#include "html_reader.h"
#include "kilter/base/utf8.h"
#include "kilter/report/survey_page.h"
#include "kilter/report/xml_text.h"
#include "markup.h"
#include "sample_pages.h"

namespace kilter::fuzz {
namespace {

using Elements = std::set<std::string>;
using Texts = std::array<std::string, 8>;

/// Whether escaping has nothing to put in place of it.
bool is_plain(const std::string& text) {
  for (std::string_view rest = text; !rest.empty();) {
    const Utf8Letter letter = first_letter(rest);
    const bool odd = letter.code < 0x20 || (letter.code >= 0x7F && letter.code < 0xA0) ||
                     letter.code == 0x2028 || letter.code == 0x2029 ||
                     (letter.code >= 0xFDD0 && letter.code <= 0xFDEF) ||
                     (letter.code & 0xFFFE) == 0xFFFE;
    if (!letter.valid || odd) return false;
    rest.remove_prefix(letter.bytes);
  }
  return true;
}

std::string without_percents(std::string_view url) {
  std::string text;
  for (std::size_t i = 0; i < url.size(); ++i) {
    const bool is_coded = url[i] == '%' && i + 2 < url.size();
    text += is_coded ? static_cast<char>(std::stoi(std::string(url.substr(i + 1, 2)), nullptr, 16))
                     : url[i];
    i += is_coded ? 2 : 0;
  }
  return text;
}

void try_text(const std::string& text) {
  const std::string html = report::escaped(text);
  require(html.find_first_of("<>\"'\n\r\t") == std::string::npos, "no bare sign is left");
  require(is_utf8(html), "what is written is UTF-8");
  if (is_plain(text)) require(without_entities(html) == text, "a text comes back as it was");

  const std::string json = report::script_json(text);
  require(json.find_first_of("<>&") == std::string::npos, "nothing ends a script");
  for (const char letter : json) require(letter >= 0x20 && letter < 0x7F, "data are ASCII");
  const std::string back = nlohmann::json::parse(json).get<std::string>();
  require(is_utf8(text) ? back == text : is_utf8(back), "data come back as they were");

  require(without_percents(report::url_text(text)) == text, "an address leads where it did");
  const std::string xml = report::xml_text(text);
  require(xml.find_first_of("<>\"\n") == std::string::npos && is_utf8(xml), "XML stays XML");
  without_entities(xml);
}

std::unique_ptr<test::SamplePage> page_of(const Texts& texts) {
  auto sample = test::calm_page(3, 20.0);
  Lineup& lineup = sample->lineup;
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i) {
    LineupTrack& track = lineup.tracks[i];
    track.name = texts[i];
    track.parts.front().file = texts[i + 1];
    track.recorder = texts[i + 2];
    track.voice = texts[i + 3];
    Finding seam;
    seam.code = "seam";
    seam.text = texts[i + 4];
    seam.line_s = 5.0;
    Finding other = seam;
    other.code = texts[7 - i];
    track.findings = {seam, other};
    sample->stems.stems[i] = {texts[i], texts[i + 1], std::nullopt, 1, i};
  }
  lineup.session = texts[3];
  lineup.mix->file = texts[4];
  sample->stems.mix->track = texts[4];
  sample->stems.clips.emplace();
  sample->stems.clips->clips.push_back({0, texts[5], texts[6], 5.0, 1.0, 8.0});
  sample->page.command = texts[7];
  return sample;
}

HtmlPage read_page(const Texts& texts) {
  return read_html(report::report_html(page_of(texts)->page));
}

HtmlPage read_survey(const Texts& texts) {
  survey::Survey survey = test::sample_survey();
  survey.session = texts[0];
  for (survey::SurveyFile& file : survey.files) file.name = texts[1];
  for (survey::SurveyTrack& track : survey.tracks) {
    track.name = texts[2];
    for (Finding& finding : track.findings) finding.text = texts[3];
  }
  return read_html(report::survey_html({&survey, {}, texts[4], texts[5]}));
}

void require_data(const HtmlPage& page) {
  for (const std::string& script : page.scripts)
    if (script.starts_with('{'))
      require(nlohmann::json::accept(script), "the data for the script are JSON");
}

/// Which elements there are may depend on whether a text is empty, or names a kind of finding; that
/// none is new may not.
const Elements& known_elements() {
  static const Elements known = [] {
    Elements all;
    for (const char* code : {"other", "", "seam", "leak", "wrong-rate", "overruled", "excursion"}) {
      Texts texts;
      texts.fill(code);
      for (const HtmlPage& page : {read_page(texts), read_survey(texts)})
        all.insert(page.elements.begin(), page.elements.end());
    }
    for (const auto& sample : {test::calm_page(2, 60.0), test::troubled_page()}) {
      const HtmlPage page = read_html(report::report_html(sample->page));
      all.insert(page.elements.begin(), page.elements.end());
    }
    return all;
  }();
  return known;
}

void require_known(const HtmlPage& page) {
  for (const std::string& element : page.elements)
    require(known_elements().contains(element), "a text makes no element: " + element);
  require_data(page);
}

}  // namespace

void try_input(Input input) {
  Texts texts;
  for (std::string& text : texts) text = input.text(60);
  for (const std::string& text : texts) try_text(text);
  require_known(input.flag() ? read_survey(texts) : read_page(texts));
}

}  // namespace kilter::fuzz

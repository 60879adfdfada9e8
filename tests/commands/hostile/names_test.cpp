// Names made to steer a terminal, to leave a folder, or to be read as something else.
#include <gtest/gtest.h>

#include "stage.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;
using test::align;
using test::batch;
using test::check;
using test::conform;
using test::HostileCase;
using test::HostileRun;
using test::Stage;
using test::survey;

std::vector<HostileRun> all_of_a_sound_session() {
  return {survey({0}, "the mix is \"mixdown.wav\""),
          align({0}, "All 4 tracks are firm"),
          conform({0}, "All 4 tracks are firm"),
          check({0}, "4 stems against"),
          // What was written is read again, names and all.
          {{"conform", "shows/hour", "--lineup", "out/lineup.json", "--cuts", "out/edits/cuts.tsv",
            "--out", "out-again"},
           {0},
           "All 4 tracks are firm"}};
}

/// One of the room's recordings once more under such a name; the truth knows it by `track`.
HostileCase named(const char* name, const std::string& file, const std::string& track) {
  return {name,
          [=](Stage& stage) {
            stage.talk();
            stage.talk_as(1, file, track);
          },
          all_of_a_sound_session()};
}

std::vector<HostileCase> file_names() {
  std::vector<HostileCase> cases{
      named("AnEscapeSequence", "\x1b[2J\x1b]0;gone\x07z.wav", "\x1b[2J\x1b]0;gone\x07z"),
      named("ALineBreak", "z\nkilter: all is well.wav", "z\nkilter: all is well"),
      named("ATabAndACarriageReturn", "z\ta\rb.wav", "z\ta\rb"),
      named("Of254Bytes", std::string(250, 'z') + ".wav", std::string(250, 'z')),
      named("NotUtf8", "z\xff\xfe\xc0\xaf.wav",
            "z\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD"),
      named("WrittenBackwards", "z\u202Evaw.wav", "z\u202Evaw"),
      named("ACodeOfOneByteForControl", "z\u009B2J.wav", "z\u009B2J"),
      named("OnlyDots", "z...wav", "z.."),
      named("AnOption", "-rf.wav", "-rf"),
      named("ADevice", "con.wav", "con"),
      named("ABlank", " .wav", " "),
      named("APathForOthers", "z\\..\\..\\y.wav", "z\\..\\..\\y"),
      named("AFormulaForSpreadsheets", "=cmd|'!A1.wav", "=cmd|'!A1"),
      named("ACommandForAShell", "$(touch z)`touch z`;touch z.wav", "$(touch z)`touch z`;touch z"),
      named("MarkupForThePage", "<img src=x onerror=alert(1)>.wav", "<img src=x onerror=alert(1)>"),
      named("QuotesAndABackslash", "z\"'\\.wav", "z\"'\\"),
      named("AFormat", "%s%n%s%n{}{0}.wav", "%s%n%s%n{}{0}")};
  cases.push_back({"AFolderWithAnEscapeSequence",
                   [](Stage& stage) {
                     stage.talk();
                     fs::rename(stage.show(), stage / "shows/\x1b[31mhour\nall is well");
                   },
                   {batch({0}, "1 session: 1 done"),
                    {{"survey", "shows/\x1b[31mhour\nall is well"}, {0}, ""},
                    {{"conform", "shows/\x1b[31mhour\nall is well", "--out", "out"}, {0}, ""}}});
  cases.push_back({"AFolderThatIsNotUtf8",
                   [](Stage& stage) {
                     stage.talk();
                     fs::rename(stage.show(), stage / "shows/hour\xff");
                   },
                   {batch({0}, "1 session: 1 done"),
                    {{"conform", "shows/hour\xff", "--out", "out"}, {0}, ""}}});
  return cases;
}

HostileCase titled(const char* name, const std::string& toml) {
  return {name,
          [=](Stage& stage) {
            stage.talk();
            stage.text("session.toml", toml);
            for (const char* track : {"../../out-evil", "/tmp/out-evil", "z\x1b[31m"})
              stage.belongs(track, [line = stage.truth().at("keeper")](double track_s) {
                return line(track_s);
              });
          },
          {survey({0}, "the mix is \"mixdown.wav\""), align({0}, "All 3 tracks are firm"),
           conform({0}, "All 3 tracks are firm"), batch({0}, "1 session: 1 done")}};
}

std::vector<HostileCase> told_names() {
  const std::string track = "[[track]]\nparts = [\"keeper.wav\"]\nname = ";
  return {titled("ATitleThatLeadsOut", "title = \"../../../out-evil\"\n"),
          titled("ATitleThatIsAPath", "title = \"/tmp/out-evil\"\n"),
          titled("ATitleThatSteersATerminal", "title = \"hour\\u001b[2J\\nall is well\"\n"),
          titled("ATitleOfMarkup", "title = \"<script>alert(1)</script>\"\n"),
          titled("ATitleOf100kB", "title = \"" + std::string(100000, 'z') + "\"\n"),
          titled("ATrackThatLeadsOut", track + "\"../../out-evil\"\n"),
          titled("ATrackThatIsAPath", track + "\"/tmp/out-evil\"\n"),
          titled("ATrackThatSteersATerminal", track + "\"z\\u001b[31m\"\n")};
}

KILTER_HOSTILE_TABLE(FileNames, SteerNothingAndStayNames, file_names());
KILTER_HOSTILE_TABLE(NamesInSessionToml, SteerNothingAndStayNames, told_names());

}  // namespace
}  // namespace kilter

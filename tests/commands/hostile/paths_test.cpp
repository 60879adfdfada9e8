// Paths that lead out of a session, and results that would lie on what is there.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "program.h"
#include "stage.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;
using test::align;
using test::batch;
using test::conform;
using test::HostileCase;
using test::HostileRun;
using test::Stage;
using test::survey;
using Json = nlohmann::json;

/// A sound file outside of the session, beside its folder.
void put_secret(Stage& stage) {
  stage.sound("../../secret.wav", test::noise(16000, 0.3F, 1));
  stage.belongs("secret", [](double) { return 0.0; });
}

HostileCase told(const char* name, const std::function<std::string(const Stage&)>& toml,
                 const std::string& says) {
  return {name,
          [=](Stage& stage) {
            stage.talk();
            put_secret(stage);
            stage.text("session.toml", toml(stage));
          },
          {survey({3}, says), align({3}, says), conform({3}, says),
           batch({1}, "session \"hour\" failed")}};
}

std::vector<HostileCase> session_files() {
  const auto text = [](const std::string& toml) { return [=](const Stage&) { return toml; }; };
  const std::string part = "[[track]]\nparts = [\"";
  const std::string outside = "lies outside the session's folder";
  std::vector<HostileCase> cases{
      told("APartAbove", text(part + "../../secret.wav\"]\n"), outside),
      told(
          "APartByItsWholePath",
          [=](const Stage& stage) { return part + (stage / "secret.wav").string() + "\"]\n"; },
          outside),
      told("APartThatIsTheSystems", text(part + "/etc/passwd\"]\n"), outside),
      told("APartThatHasNoEnd", text(part + "/dev/zero\"]\n"), outside),
      told("ALaterPartAbove", text(part + "keeper.wav\", \"../../secret.wav\"]\n"), outside),
      told("AMixAbove", text("mix = \"../../secret.wav\"\n"), outside),
      told("AFolderAbove", text("folder = \"../..\"\n"), "\"folder\" leads to"),
      told("AFolderThatIsTheSystems", text("folder = \"/etc\"\n"), "\"folder\" leads to"),
      told("APartWithAZeroByte", text(part + "keeper.wav\\u0000z\"]\n"), "holds a zero byte"),
      told("AMillionBrackets", text("title = " + std::string(1000000, '[')), "is not TOML"),
      told("OneKeyOf400000Tables", text([] {
             std::string toml;
             for (int i = 0; i < 400000; ++i) toml += "a.";
             return toml + "b = 1\n";
           }()),
           "too many dots outside of quotes"),
      told("ManyTablesInManyLines", text([] {
             std::string toml = "x = [";
             for (int i = 0; i < 1000; ++i) toml += "{a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a = [\n";
             return toml;
           }()),
           "is not TOML"),
      told("TwoMegabytes", text("#" + std::string(2000000, 'z')),
           "too large for what it should be"),
      told("AStartInAges", text("[[track]]\nparts = [\"keeper.wav\"]\nstart_s = 1e300\n"),
           "within two days"),
      told("AStartThatIsNoNumber", text("[[track]]\nparts = [\"keeper.wav\"]\nstart_s = nan\n"),
           "must be a number"),
      told("NoTextAtAll", text(std::string(100000, '\xFF')), "is not TOML"),
  };
  cases.push_back({"APartOverALinkThatLeadsOut",
                   [=](Stage& stage) {
                     stage.talk();
                     put_secret(stage);
                     fs::create_symlink("../../secret.wav", stage.show() / "y.wav");
                     stage.text("session.toml", part + "y.wav\"]\n");
                   },
                   {survey({3}, outside), align({3}, outside)}});
  cases.push_back(
      {"ItselfALinkThatLeadsOut",
       [=](Stage& stage) {
         stage.talk();
         fs::create_symlink("/etc/passwd", stage.show() / "session.toml");
       },
       {survey({3}, "leads out of the folder"), align({3}, "leads out of the folder")}});
  cases.push_back(
      {"ItselfAFolder",
       [=](Stage& stage) {
         stage.talk();
         fs::create_directory(stage.show() / "session.toml");
       },
       {survey({3}, "is not an ordinary file"), align({3}, "is not an ordinary file")}});
  return cases;
}

// ---- lineups and tables of cuts from strangers

/// A sound session with its lineup in "hour.json", changed, and its table in "cuts.tsv".
HostileCase with_lineup(const char* name, const std::function<void(Stage&, Json&)>& change,
                        std::vector<int> exits, const std::string& says) {
  return {
      name,
      [=](Stage& stage) {
        stage.talk();
        put_secret(stage);
        Json lineup{
            {"kind", "kilter lineup"},
            {"version", 1},
            {"session", "hour"},
            {"timeline", {{"clock", "mix"}, {"rate", 16000}, {"from_s", 0}, {"to_s", 40}}},
            {"mix",
             {{"file", "mixdown.wav"},
              {"rate", 16000},
              {"frames", 640000},
              {"spans", {{{"from_s", 0}, {"to_s", 40}, {"line_from_s", 0}, {"line_to_s", 40}}}},
              {"findings", Json::array()}}},
            {"findings", Json::array()}};
        const auto& keeper = stage.talked().tracks.front();
        lineup["tracks"] = {
            {{"name", "keeper"},
             {"parts",
              {{{"file", "keeper.wav"}, {"channel", 1}, {"frames", keeper.samples.size()}}}},
             {"rate", 16000},
             {"role", "room"},
             {"standing", "shaky"},
             {"inverted", false},
             {"spans",
              {{{"from_s", 0.0},
                {"to_s", 40.0},
                {"line_from_s", keeper.line_of(0.0)},
                {"line_to_s", keeper.line_of(40.0)}}}},
             {"findings", Json::array()}}};
        change(stage, lineup);
        test::write_text(stage / "hour.json", lineup.dump());
      },
      {{{"conform", "shows/hour", "--lineup", "hour.json", "--out", "out"}, exits, says},
       {{"conform", "shows/hour", "--lineup", "hour.json", "--range", "all", "--out", "out-all"},
        {1, 2, 3, 4},
        ""},
       {{"check", "shows/hour", "--lineup", "hour.json"}, {0, 1, 3}, ""}}};
}

Json& keeper(Json& lineup) { return lineup["tracks"][0]; }
Json& first_span(Json& lineup) { return keeper(lineup)["spans"][0]; }

std::vector<HostileCase> lineups() {
  const auto named = [](const std::string& name) {
    return [=](Stage&, Json& lineup) { keeper(lineup)["name"] = name; };
  };
  const auto of_file = [](const std::string& file) {
    return [=](Stage&, Json& lineup) { keeper(lineup)["parts"][0]["file"] = file; };
  };
  const auto spanning = [](double to_s, double line_to_s) {
    return [=](Stage&, Json& lineup) {
      first_span(lineup)["to_s"] = to_s;
      first_span(lineup)["line_to_s"] = line_to_s;
    };
  };
  return {
      with_lineup("ATrackWhoseNameLeadsOut", named("../../out-evil"), {1}, "Stems"),
      with_lineup("ATrackWhoseNameIsAPath", named("/tmp/out-evil"), {1}, "Stems"),
      with_lineup("ATrackNamedLikeTheMix", named("mixdown"), {1}, "Stems"),
      with_lineup(
          "ASessionWhoseNameLeadsOut",
          [](Stage&, Json& lineup) { lineup["session"] = "../../../out-evil"; }, {1}, "Stems"),
      with_lineup("AFileAbove", of_file("../../secret.wav"), {3},
                  "it is not the file that was aligned"),
      with_lineup("AFileOfTheSystem", of_file("/etc/passwd"), {3}, "not a format we know"),
      with_lineup("AFileWithoutAnEnd", of_file("/dev/zero"), {3}, "it is not an ordinary file"),
      with_lineup("AFileWithAZeroByte", of_file(std::string("keeper.wav\0z", 12)), {3},
                  "holds a zero byte"),
      with_lineup(
          "AMixAbove", [](Stage&, Json& lineup) { lineup["mix"]["file"] = "../../secret.wav"; },
          {1, 3}, ""),
      with_lineup(
          "ATimelineOfAges", [](Stage&, Json& lineup) { lineup["timeline"]["to_s"] = 1e15; },
          {1, 3, 4}, ""),
      with_lineup(
          "ATimelineAtNoRate", [](Stage&, Json& lineup) { lineup["timeline"]["rate"] = 1e-300; },
          {3}, "timeline.rate: must be a number from 1 to 1000000"),
      with_lineup(
          "ATimelineAtAnyRate", [](Stage&, Json& lineup) { lineup["timeline"]["rate"] = 1e300; },
          {3}, "timeline.rate: must be a number from 1 to 1000000"),
      with_lineup(
          "ATrackAtNoRate", [](Stage&, Json& lineup) { keeper(lineup)["rate"] = 1e-300; }, {3}, ""),
      with_lineup("ATrackOfAges", spanning(1e15, 1e15), {1, 3}, ""),
      with_lineup("ATrackAMillionTimesAsFast", spanning(40.0, 4e-5), {1, 3}, ""),
      with_lineup("ATrackAMillionTimesAsSlow", spanning(40.0, 4e7), {1, 3}, ""),
      with_lineup("ATrackThatRunsBackwards", spanning(40.0, -40.0), {3}, ""),
      with_lineup(
          "AChannelThatIsNotThere",
          [](Stage&, Json& lineup) { keeper(lineup)["parts"][0]["channel"] = 2000000000; }, {3},
          ""),
      with_lineup(
          "A100000Spans",
          [](Stage&, Json& lineup) {
            Json spans = Json::array();
            for (int i = 0; i < 100000; ++i)
              spans.push_back({{"from_s", i * 4e-4},
                               {"to_s", (i + 1) * 4e-4},
                               {"line_from_s", i * 4e-4},
                               {"line_to_s", (i + 1) * 4e-4}});
            keeper(lineup)["spans"] = spans;
          },
          {1, 3}, ""),
      with_lineup(
          "AStemsMarkThatLeadsOut",
          [](Stage&, Json& lineup) {
            lineup["stems"] = {{{"file", "../../shows/hour/keeper.wav"}, {"digest", "0"}}};
          },
          {1}, "Stems"),
  };
}

HostileCase raw_lineup(const char* name, const std::string& text, const std::string& says) {
  return {name,
          [=](Stage& stage) {
            stage.talk();
            test::write_text(stage / "hour.json", text);
          },
          {{{"conform", "shows/hour", "--lineup", "hour.json", "--out", "out"}, {3}, says},
           {{"check", "shows/hour", "--lineup", "hour.json"}, {3}, says}}};
}

std::vector<HostileCase> raw_lineups() {
  return {raw_lineup("OfAMillionBrackets", std::string(1000000, '['),
                     "holds more values, or deeper ones"),
          raw_lineup(
              "OfAMillionObjects",
              [] {
                std::string text;
                for (int i = 0; i < 300000; ++i) text += "{\"a\":";
                return text;
              }(),
              "holds more values, or deeper ones"),
          raw_lineup(
              "OfFiveMillionLists",
              [] {
                std::string text = "[";
                for (int i = 0; i < 5000000; ++i) text += "[],";
                return text + "0]";
              }(),
              "holds more values, or deeper ones"),
          raw_lineup("Of70MB", std::string(70'000'000, ' '), "too large for what it should be"),
          raw_lineup("OfNoText", std::string(100000, '\xFF'), "is not JSON"),
          raw_lineup("OfZeros", std::string(1000000, '\0'), "is not JSON"),
          raw_lineup("OfOneNumber", "1e99999", "beyond all bounds"),
          raw_lineup("OfNothing", "", "is not JSON")};
}

HostileCase with_cuts(const char* name, const std::function<void(std::string&)>& change,
                      std::vector<int> exits, const std::string& says) {
  return {name,
          [=](Stage& stage) {
            stage.talk();
            put_secret(stage);
            std::string table =
                "track\tfile\tchannel\tsource_rate\tsource_first\tsource_last\ttimeline_first\t"
                "timeline_last\tstart\tspeed\tpolarity\tstanding\tuncertainty_us\trecorder\n"
                "keeper\tkeeper.wav\t1\t16000\t200000\t600000\t1000\t\t\t1\tnormal\tfirm\t3\tA\n";
            change(table);
            test::write_text(stage / "cuts.tsv", table);
            // A person's word is firm: frame 200000 lies on the timeline's 1000.
            stage.belongs("keeper",
                          [](double track_s) { return track_s - (200000.0 - 1000.0) / 16000.0; });
          },
          {{{"conform", "shows/hour", "--cuts", "cuts.tsv", "--out", "out"}, exits, says}}};
}

void put(std::string& table, const std::string& what, const std::string& with) {
  const auto at = table.rfind(what);
  ASSERT_NE(at, std::string::npos);
  table.replace(at, what.size(), with);
}

std::vector<HostileCase> cuts() {
  const auto cell = [](const std::string& what, const std::string& with) {
    return [=](std::string& table) { put(table, what, with); };
  };
  return {
      with_cuts(
          "NothingWrong", [](std::string&) {}, {0}, "1 where you put it"),
      with_cuts("AZeroByte", cell("keeper.wav", "keeper.wav\\x00z"), {3}, "every backslash"),
      with_cuts("AFileAbove", cell("keeper.wav", "../../secret.wav"), {3},
                "the track has no channel 1"),
      with_cuts("AFileOfTheSystem", cell("keeper.wav", "/etc/passwd"), {3},
                "the track has no channel 1"),
      with_cuts("ATrackWhoseNameLeadsOut", cell("keeper\t", "../../out-evil\t"), {3},
                "the lineup has no track"),
      with_cuts("AFrameBeyondAllFiles", cell("600000", "9223372036854775807"), {3},
                "is not a frame"),
      with_cuts("AFrameBeyondAllNumbers", cell("600000", "99999999999999999999999"), {3},
                "is not a frame"),
      with_cuts("AFrameBeforeTheFirst", cell("200000", "-5"), {3}, "is not a frame"),
      with_cuts("APlaceInAges", cell("1000", "1e300"), {3}, "is not a number of frames"),
      with_cuts("NoSpeed", cell("\t1\tn", "\t0\tn"), {3}, "is not a speed"),
      with_cuts("ASpeedOfAMillion", cell("\t1\tn", "\t1000000\tn"), {3}, "is not a speed"),
      with_cuts("ASpeedThatIsNoNumber", cell("\t1\tn", "\tnan\tn"), {3}, "is not a speed"),
      with_cuts("AnEscapeSequence", cell("keeper\t", "\x1b[2J\t"), {3}, "the lineup has no track"),
      with_cuts(
          "AMillionCells", [](std::string& table) { table += std::string(1000000, '\t'); }, {0},
          "1 where you put it"),
      with_cuts(
          "OneLineOf10MB", [](std::string& table) { table += std::string(10000000, 'z'); }, {3},
          "is not a channel"),
  };
}

// ---- results on what is there

std::vector<HostileCase> outputs() {
  const auto sound = [](Stage& stage) { stage.talk(); };
  const auto conform_to = [](const std::string& out, std::vector<int> exits,
                             const std::string& says) {
    return HostileRun{{"conform", "shows/hour", "--out", out, "--replace"}, std::move(exits), says};
  };
  std::vector<HostileCase> cases{
      {"TheSession", sound, {conform_to("shows/hour", {2}, "never written to")}},
      {"BelowTheSession", sound, {conform_to("shows/hour/stems", {2}, "never written to")}},
      {"TheSessionByDots", sound, {conform_to("shows/../shows/hour/./x", {2}, "never written to")}},
      {"AboveTheSession", sound, {conform_to("shows", {2}, "it holds other files")}},
      {"ASource", sound, {conform_to("shows/hour/keeper.wav", {2}, "never written to")}},
      {"BelowASource", sound, {conform_to("shows/hour/keeper.wav/x", {2}, "never written to")}},
      {"TheSystem", sound, {conform_to("/proc/out", {4}, "cannot be written")}},
      {"ADevice", sound, {conform_to("/dev/null", {4}, "it is not a folder")}},
      {"TheSessionByALink",
       [](Stage& stage) {
         stage.talk();
         fs::create_directory_symlink("shows/hour", stage / "link");
       },
       {conform_to("link", {2}, "never written to"),
        conform_to("link/x", {2}, "never written to")}},
      {"TheFolderOfListedSources",
       sound,
       {{{"conform", "shows/hour/keeper.wav", "shows/hour/mixdown.wav", "--out", "shows/hour",
          "--replace"},
         {2},
         ""}}},
      {"StemsOverALinkToTheSources",
       [](Stage& stage) {
         stage.talk();
         fs::create_directory(stage / "result");
         fs::create_directory_symlink("../shows/hour", stage / "result" / "stems");
       },
       {conform_to("result", {2, 4}, "")}},
      {"StemsOverALinkInAnEarlierResult",
       [](Stage& stage) {
         stage.talk();
         fs::create_directory(stage / "result");
         fs::create_directory_symlink("../shows/hour", stage / "result" / "stems");
         // As an earlier run would have left it: these stems are ours, it claims.
         test::write_text(stage / "result" / "lineup.json",
                          R"({"kind": "kilter lineup", "version": 1, "session": "hour",
                              "timeline": {"clock": "mix", "rate": 16000, "from_s": 0, "to_s": 40},
                              "tracks": [], "findings": [],
                              "stems": [{"file": "keeper.wav", "digest": "0"}]})");
       },
       {conform_to("result", {2, 4}, "")}},
      {"AnEarlierResultWhoseMarkLeadsOut",
       [](Stage& stage) {
         stage.talk();
         test::run_program({"conform", "shows/hour", "--out", "result"}, stage.root(), 60.0, false);
         // The digest is true: it is keeper's copy, but lies elsewhere.
         fs::copy_file(stage / "result/stems/keeper.wav", stage / "mine.wav");
         Json lineup = Json::parse(test::read_text(stage / "result/lineup.json"));
         for (Json& stem : lineup["stems"]) stem["file"] = "../../mine.wav";
         test::write_text(stage / "result/lineup.json", lineup.dump());
       },
       {conform_to("result", {2, 4}, "")}},
      {"ALineupOverASource",
       sound,
       {{{"align", "shows/hour", "--lineup", "shows/hour/keeper.wav"}, {2}, "never written to"}}},
      {"ALineupOverAnotherFile",
       [](Stage& stage) {
         stage.talk();
         test::write_text(stage / "letter", "Dear keepers");
       },
       {{{"align", "shows/hour", "--lineup", "letter"}, {2}, "is there already"}}},
      {"ALineupOverAListedSource",
       sound,
       {{{"align", "shows/hour/keeper.wav", "shows/hour/mixdown.wav", "--lineup",
          "shows/hour/keeper.wav"},
         {2},
         ""}}},
      {"APageOverASource",
       sound,
       {{{"survey", "shows/hour", "--html", "shows/hour/keeper.wav"}, {2}, ""}}},
      {"APageOverAListedSource",
       sound,
       {{{"survey", "shows/hour/keeper.wav", "shows/hour/mixdown.wav", "--html",
          "shows/hour/keeper.wav"},
         {2},
         ""}}},
      {"ATestReportOverASource",
       sound,
       {conform({0}, ""),
        {{"check", "out", "--junit", "shows/hour/keeper.wav"}, {2}, "is no test report"},
        {{"batch", "shows", "--out", "out-batch", "--junit", "shows/hour/keeper.wav"}, {2}, ""}}},
      {"ATestReportOverALetter",
       [](Stage& stage) {
         stage.talk();
         test::write_text(stage / "letter", "Dear keepers");
       },
       {conform({0}, ""), {{"check", "out", "--junit", "letter"}, {2}, "is no test report"}}},
      {"ABatchIntoTheArchive", sound, {{{"batch", "shows", "--out", "shows"}, {2}, ""}}},
      {"ABatchIntoASession", sound, {{{"batch", "shows", "--out", "shows/hour/x"}, {2}, ""}}},
  };
  return cases;
}

KILTER_HOSTILE_TABLE(SessionTomlWith, LeadsNowhere, session_files());
KILTER_HOSTILE_TABLE(LineupWith, LeadsNowhere, lineups());
KILTER_HOSTILE_TABLE(Lineup, IsRefused, raw_lineups());
KILTER_HOSTILE_TABLE(CutsWith, LeadNowhere, cuts());
KILTER_HOSTILE_TABLE(ResultsOnto, AreRefused, outputs());

}  // namespace
}  // namespace kilter

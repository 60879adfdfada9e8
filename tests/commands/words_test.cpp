// What the program says of itself must be what it does.
#include "words.h"

#include <gtest/gtest.h>

#include <regex>
#include <set>
#include <sstream>

#include "help_text.h"
#include "mistyped.h"
#include "run_kilter.h"

namespace kilter::commands {
namespace {

std::string sample_value(const OptionWords& option) {
  if (option.value == "K/N") return "2/5";
  if (!option.choices.empty()) return option.choices.front();
  if (option.name == "--start-tc") return "02:00:00:00";
  return option.takes == Takes::number ? "1000" : "here";
}

std::vector<std::string> shortest_line(const CommandWords& command) {
  std::vector<std::string> args{command.name, "show"};
  for (const OptionWords& option : command.options)
    if (option.required) args.insert(args.end(), {option.name, sample_value(option)});
  return args;
}

/// The options, or what is wrong with the command line.
Result<Options> parsed(const std::vector<std::string>& args) {
  auto result = parse_options(args);
  if (!result) return result.error();
  return std::get<Options>(*result);
}

TEST(Words, NameOnlyOptionsThatTheParserTakes) {
  for (const CommandWords& command : command_words())
    for (const OptionWords& option : command.options) {
      if (option.name == "--help") continue;
      auto args =
          option.required ? std::vector<std::string>{command.name, "show"} : shortest_line(command);
      args.push_back(option.name);
      if (option.takes != Takes::nothing) args.push_back(sample_value(option));
      const auto result = parsed(args);
      ASSERT_TRUE(result) << command.name << ' ' << option.name << ": " << result.error().what;
      EXPECT_EQ(result->command, command.command);
      // What takes a value takes it, and not the session.
      EXPECT_EQ(result->session.size(), 1U) << option.name;
    }
}

TEST(Words, NameOnlyChoicesThatTheParserTakes) {
  for (const CommandWords& command : command_words())
    for (const OptionWords& option : command.options)
      for (const std::string& choice : option.choices) {
        auto args = shortest_line(command);
        args.push_back(option.name + '=' + choice);
        EXPECT_TRUE(parsed(args)) << args.back();
      }
}

TEST(Words, StateTheDefaultsThatHold) {
  const std::vector<std::string> line{"conform", "show", "--out", "there"};
  const auto plain = parsed(line);
  ASSERT_TRUE(plain);
  int compared = 0;
  for (const OptionWords& option : command_words()[2].options) {
    if (option.takes != Takes::one_of && option.name != "--limit-ms" && option.name != "--start-tc")
      continue;
    auto args = line;
    args.push_back(option.name + '=' + option.standard);
    const auto said = parsed(args);
    ASSERT_TRUE(said) << args.back();
    EXPECT_EQ(said->limit_ms, plain->limit_ms);
    EXPECT_EQ(said->range, plain->range);
    EXPECT_EQ(said->bits, plain->bits);
    EXPECT_EQ(said->container, plain->container);
    EXPECT_EQ(said->frame_rate, plain->frame_rate);
    EXPECT_EQ(said->start_frame, plain->start_frame);
    ++compared;
  }
  EXPECT_EQ(compared, 6);
}

TEST(Words, GiveExamplesThatCanBeTyped) {
  for (const CommandWords& command : command_words()) {
    EXPECT_GE(command.examples.size(), 2U) << command.name;
    for (const ExampleWords& example : command.examples) {
      std::istringstream words(example.line);
      std::vector<std::string> args;
      for (std::string word; words >> word;) args.push_back(word);
      ASSERT_EQ(args.front(), "kilter");
      args.erase(args.begin());
      const auto result = parsed(args);
      ASSERT_TRUE(result) << example.line << ": " << result.error().what;
      EXPECT_EQ(result->command, command.command);
    }
  }
}

TEST(Words, TellEveryExitCode) {
  const std::set<Exit> all{Exit::done,      Exit::needs_person, Exit::bad_command,
                           Exit::no_input,  Exit::cannot_write, Exit::bug,
                           Exit::no_memory, Exit::interrupted};
  std::set<Exit> told;
  for (const ExitWords& exit : exit_words()) told.insert(exit.exit);
  EXPECT_EQ(told, all);
}

TEST(Help, TellsEveryOptionWithItsDefaultInEightyColumns) {
  for (const CommandWords& command : command_words()) {
    const test::Told told = test::run_kilter({command.name, "--help"});
    EXPECT_EQ(told.exit, 0);
    for (const OptionWords& option : command.options) {
      const std::string start =
          "\n  " + option.name + (option.value.empty() ? "" : ' ' + option.value) + ' ';
      EXPECT_NE(told.out.find(start), std::string::npos) << option.name;
      if (!option.standard.empty()) {
        EXPECT_NE(told.out.find('[' + option.standard + ']'), std::string::npos) << option.name;
      }
    }
    std::istringstream lines(told.out);
    for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 80U) << line;
  }
}

TEST(Output, HoldsNothingThatSteersATerminal) {
  for (const std::vector<std::string>& args : {std::vector<std::string>{"--help"},
                                               {"check", "--help"},
                                               {"aling"},
                                               {"--version"},
                                               {"survey", "\x1b[2J"}}) {
    const test::Told told = test::run_kilter(args, true);
    EXPECT_EQ((told.out + told.err).find('\x1b'), std::string::npos);
  }
}

TEST(Version, IsOneLineAndBelowItALineForEachLibrary) {
  const test::Told told = test::run_kilter({"--version"});
  EXPECT_EQ(told.exit, 0);
  std::istringstream lines(told.out);
  std::string line;
  ASSERT_TRUE(std::getline(lines, line));
  EXPECT_TRUE(std::regex_match(line, std::regex("kilter [0-9]+\\.[0-9]+\\.[0-9]+"))) << line;
  std::set<std::string> names;
  while (std::getline(lines, line)) {
    std::smatch parts;
    ASSERT_TRUE(std::regex_match(line, parts, std::regex("  (\\S+) +(\\S.*)"))) << line;
    names.insert(parts[1]);
    const std::string version = parts[2];
    const bool is_number = std::regex_search(version, std::regex("[0-9]+\\.[0-9]+"));
    EXPECT_TRUE(is_number || version == "not in this build") << line;
  }
  for (const char* name : {"libsndfile", "libavformat", "FFTW", "libebur128", "fmt", "CLI11",
                           "nlohmann-json", "toml++", "compiler"})
    EXPECT_TRUE(names.contains(name)) << name;
}

struct Mistake {
  const char* name;
  std::vector<std::string> args;
  const char* said;
};

class Mistyped : public testing::TestWithParam<Mistake> {};

TEST_P(Mistyped, IsToldWithWhatWasMeant) {
  const test::Told told = test::run_kilter(GetParam().args);
  EXPECT_EQ(told.exit, 2);
  EXPECT_EQ(told.out, "");
  EXPECT_EQ(told.err, GetParam().said);
}

using Args = std::vector<std::string>;
INSTANTIATE_TEST_SUITE_P(
    Cases, Mistyped,
    testing::Values(
        Mistake{"CommandSwapped", Args{"aling", "show"},
                "kilter: there is no command \"aling\"\n"
                "  next: did you mean align? kilter --help lists all\n"},
        Mistake{"CommandInCapitals", Args{"CHECK", "show"},
                "kilter: there is no command \"CHECK\"\n"
                "  next: did you mean check? kilter --help lists all\n"},
        Mistake{"CommandBegun", Args{"conf", "show"},
                "kilter: there is no command \"conf\"\n"
                "  next: did you mean conform? kilter --help lists all\n"},
        Mistake{"CommandLikeNone", Args{"tune", "show"},
                "kilter: there is no command \"tune\"\n"
                "  next: use survey, align, conform, check or batch\n"},
        Mistake{"OptionBeforeWhatIsMissing", Args{"conform", "show", "--otu", "there"},
                "kilter: unknown option: --otu\n"
                "  next: did you mean --out? kilter conform --help lists all\n"},
        Mistake{"OptionWithItsValue", Args{"conform", "show", "--out=x", "--bit=16"},
                "kilter: unknown option: --bit\n"
                "  next: did you mean --bits? kilter conform --help lists all\n"},
        Mistake{"OptionWithOneDash", Args{"conform", "show", "-out", "there"},
                "kilter: unknown option: -out\n"
                "  next: did you mean --out? kilter conform --help lists all\n"},
        Mistake{"OptionOfTheProgram", Args{"--verison"},
                "kilter: unknown option: --verison\n"
                "  next: did you mean --version? kilter --help lists all\n"},
        Mistake{"OptionOfOtherCommands", Args{"align", "show", "--limit-ms", "2"},
                "kilter: --limit-ms is no option of kilter align\n"
                "  next: it belongs to conform, check or batch; read kilter align --help\n"},
        Mistake{"OptionLikeNone", Args{"align", "show", "--loud"},
                "kilter: unknown option: --loud\n"
                "  next: read kilter align --help\n"},
        Mistake{"Choice", Args{"conform", "show", "--out", "x", "--container", "wave"},
                "kilter: --container: \"wave\" is none of wav, rf64 or flac; did you mean wav?\n"
                "  next: read kilter conform --help\n"},
        Mistake{"ChoiceLikeNone", Args{"conform", "show", "--out", "x", "--bits", "12"},
                "kilter: --bits: \"12\" is none of 16, 24 or 32f\n"
                "  next: read kilter conform --help\n"},
        Mistake{"NoNumber", Args{"align", "show", "--threads", "two"},
                "kilter: --threads: \"two\" is no whole number from 1 to 1024\n"
                "  next: read kilter align --help\n"},
        Mistake{"ValueMissing", Args{"conform", "show", "--out"},
                "kilter: --out needs a value behind it\n"
                "  next: read kilter conform --help\n"}),
    [](const auto& each) { return each.param.name; });

TEST(Nearest, OffersNothingThatIsFarOrInDoubt) {
  const std::vector<std::string> names{"--mix", "--max", "--lineup"};
  EXPECT_EQ(nearest("--mxi", names), "--mix");
  EXPECT_EQ(nearest("--linup", names), "--lineup");
  EXPECT_EQ(nearest("--mox", names), std::nullopt);  // either
  EXPECT_EQ(nearest("--m", names), std::nullopt);
  EXPECT_EQ(nearest("--fps", names), std::nullopt);
  EXPECT_EQ(nearest("--", names), std::nullopt);
}

}  // namespace
}  // namespace kilter::commands

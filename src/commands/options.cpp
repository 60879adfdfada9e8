#include "options.h"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <string_view>

#include "kilter/base/parallel.h"

#ifndef KILTER_VERSION
#error "the build defines KILTER_VERSION"
#endif

namespace kilter::commands {
namespace {

template <typename Value>
struct Choice {
  const char* text;
  Value value;
};
constexpr std::array kRanges{Choice<conform::StemRange>{"mix", conform::StemRange::mix},
                             Choice<conform::StemRange>{"all", conform::StemRange::all},
                             Choice<conform::StemRange>{"shared", conform::StemRange::shared}};
constexpr std::array kBits{Choice<media::SampleFormat>{"16", media::SampleFormat::pcm16},
                           Choice<media::SampleFormat>{"24", media::SampleFormat::pcm24},
                           Choice<media::SampleFormat>{"32f", media::SampleFormat::float32}};
constexpr std::array kContainers{Choice<media::Container>{"wav", media::Container::wav},
                                 Choice<media::Container>{"rf64", media::Container::rf64},
                                 Choice<media::Container>{"flac", media::Container::flac}};

CLI::Validator is_one_of(const auto& choices) {
  std::vector<std::string> texts;
  texts.reserve(choices.size());
  for (const auto& choice : choices) texts.emplace_back(choice.text);
  return CLI::IsMember(texts);
}

/// The value of a text that is_one_of() has let through.
auto value_of(const std::string& text, const auto& choices) {
  for (const auto& choice : choices)
    if (text == choice.text) return choice.value;
  return choices.front().value;
}

std::string without_empty_line_pairs(std::string text) {
  for (auto at = text.find("\n\n\n"); at != std::string::npos; at = text.find("\n\n\n"))
    text.erase(at, 1);
  return text;
}

/// A number of milliseconds above 0 that some session could be off by.
std::string is_a_length(const std::string& text) {
  constexpr double kMost_ms = 3.6e6;
  double value = 0.0;
  const bool is_number = CLI::detail::lexical_cast(text, value);
  if (is_number && value > 0.0 && value <= kMost_ms) return {};
  return "must be a number of milliseconds above 0, and no more than an hour";
}

std::string is_not_empty(const std::string& text) {
  return text.empty() ? "must not be empty" : "";
}

/// A word as a shell takes it.
std::string quoted(const std::string& word) {
  constexpr const char* kPlain =
      "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789%+,-./:=@_";
  if (!word.empty() && word.find_first_not_of(kPlain) == std::string::npos) return word;
  std::string text = "'";
  for (const char letter : word) text += letter == '\'' ? "'\\''" : std::string(1, letter);
  return text + '\'';
}

/// What was typed, without what changes no result.
std::string line_of(std::span<const std::string> args) {
  constexpr std::array<std::string_view, 3> kFlags{"--quiet", "--json", "--replace"};
  constexpr std::array<std::string_view, 2> kWithValue{"--threads", "--out"};
  std::string line = "kilter";
  for (std::size_t i = 0; i < args.size(); ++i) {
    const std::string_view name = std::string_view(args[i]).substr(0, args[i].find('='));
    const auto is_name = [&](std::string_view other) { return name == other; };
    if (std::any_of(kFlags.begin(), kFlags.end(), is_name)) continue;
    if (std::any_of(kWithValue.begin(), kWithValue.end(), is_name))
      i += args[i].size() == name.size() ? 1 : 0;
    else
      line += ' ' + quoted(args[i]);
  }
  return line;
}

/// Texts as CLI11 takes them, before they become values.
struct Texts {
  std::vector<std::string> session;
  std::string mix;
  std::string lineup;
  std::string cuts;
  std::string junit;
  std::string out;
  std::string range{"mix"};
  std::string clock;
  std::string bits{"24"};
  std::string container{"wav"};
  int rate_hz{0};
  std::string frame_rate{"25"};
  std::string start_timecode{"01:00:00:00"};
};

class Parser {
 public:
  Parser() : app_("Lines up the tracks of a show with its mixdown.", "kilter") {
    options_.threads = available_threads();
    app_.require_subcommand(1);
    app_.get_formatter()->label("SUBCOMMAND", "COMMAND");
    app_.get_formatter()->label("Positionals", "Session");
    app_.set_version_flag("--version", "kilter " KILTER_VERSION, "print the version and exit");
    app_.set_help_flag("-h,--help", "print this help and exit");
    app_.footer(
        "Examples:\n"
        "  kilter align shows/lighthouse-12\n"
        "      finds where every track belongs; writes lighthouse-12.lineup.json here\n"
        "  kilter conform shows/lighthouse-12 --out lighthouse-12.conformed\n"
        "      writes aligned stems, a lineup, edit lists and a report to that folder\n"
        "  kilter check lighthouse-12.conformed\n"
        "      measures them against the mix again; exits with 1 beyond a millisecond\n"
        "\n"
        "kilter COMMAND --help tells a command's options. Exit codes: 0 all well,\n"
        "1 finished but something needs a person, 2 command line wrong, 3 no usable\n"
        "input, 4 an output could not be written, 70 a bug, 71 memory ran out,\n"
        "130 interrupted.");
    add_survey();
    add_align();
    add_conform();
    add_check();
  }

  Result<std::variant<Options, Answer>> parse(std::span<const std::string> args) {
    std::vector<std::string> reversed(args.rbegin(), args.rend());  // as CLI11 wants them
    try {
      app_.parse(reversed);
    } catch (const CLI::CallForHelp&) {
      return {Answer{help()}};
    } catch (const CLI::CallForVersion&) {
      return {Answer{app_.version() + '\n'}};
    } catch (const CLI::ParseError& error) {
      return wrong(error, args);
    }
    options_.line = line_of(args);
    return finished();
  }

 private:
  void add_survey() {
    CLI::App* command =
        add(Command::survey, "survey", "What arrived: a row per track, and findings.");
    command
        ->add_flag("--sound-check", options_.sound_check,
                   "of a short test take: what to mend before the show")
        ->group("Input");
    command
        ->add_flag("--write-session", options_.write_session,
                   "write NAME.session.toml here, to be edited")
        ->group("Output");
    add_running(*command);
    command->footer(
        "Examples:\n"
        "  kilter survey shows/lighthouse-12\n"
        "  kilter survey keeper.wav guest.flac mixdown.mp3 --json\n"
        "  kilter survey shows/lighthouse-12 --write-session\n"
        "  kilter survey test-take --sound-check");
  }

  void add_align() {
    CLI::App* command =
        add(Command::align, "align", "Where every track belongs: writes the lineup.");
    command->add_option("--lineup", texts_.lineup, "where to write it [NAME.lineup.json here]")
        ->option_text("FILE")
        ->check(is_not_empty)
        ->group("Output");
    add_running(*command);
    command->footer(
        "Examples:\n"
        "  kilter align shows/lighthouse-12\n"
        "  kilter align shows/lighthouse-12 --mix final.flac --lineup lineups/12.json");
  }

  void add_conform() {
    CLI::App* command = add(Command::conform, "conform", "Aligned stems, a lineup and edit lists.");
    command->add_option("--lineup", texts_.lineup, "read this lineup instead of aligning")
        ->option_text("FILE")
        ->check(is_not_empty)
        ->group("Input");
    command->add_option("--cuts", texts_.cuts, "a cuts.tsv you changed: it overrules the lineup")
        ->option_text("FILE")
        ->check(is_not_empty)
        ->group("Input");
    add_output(*command);
    add_stems(*command);
    add_edit_lists(*command);
    add_running(*command);
    command->footer(
        "Examples:\n"
        "  kilter conform shows/lighthouse-12 --out lighthouse-12.conformed\n"
        "  kilter conform shows/lighthouse-12 --lineup 12.lineup.json --out 12 --bits 16\n"
        "  kilter conform shows/12 --lineup 12/lineup.json --cuts mended.tsv --out 12b");
  }

  void add_check() {
    CLI::App* command =
        add(Command::check, "check", "Measures stems against the mix again, for CI.",
            "a folder that conform wrote, or stems and their mix");
    command->add_option("--lineup", texts_.lineup, "check this lineup's places, without stems")
        ->option_text("FILE")
        ->check(is_not_empty)
        ->group("Input");
    add_limit(*command);
    command->add_flag("--allow-silent", options_.allow_silent, "let stems pass that hardly sound")
        ->group("Limits");
    command->add_option("--junit", texts_.junit, "write a test report for CI there")
        ->option_text("FILE")
        ->check(is_not_empty)
        ->group("Output");
    add_running(*command);
    command->footer(
        "Examples:\n"
        "  kilter check lighthouse-12.conformed --junit check.xml\n"
        "  kilter check exported-stems --mix final.wav --limit-ms 0.5\n"
        "  kilter check shows/lighthouse-12 --lineup 12.lineup.json");
  }

  CLI::App* add(Command command, const std::string& name, const std::string& about,
                const std::string& input = "a folder, a session.toml, or audio files") {
    CLI::App* sub = app_.add_subcommand(name, about)->group("Commands");
    sub->callback([this, command] { options_.command = command; });
    // No CLI::ExistingFile here: the readers say better what is wrong, with the right exit code.
    sub->add_option("SESSION", texts_.session, input)->option_text("...")->required();
    sub->add_option("--mix", texts_.mix, "the mixdown [found by name, else by sound]")
        ->option_text("FILE")
        ->check(is_not_empty)
        ->group("Input");
    return sub;
  }

  void add_output(CLI::App& command) {
    command.add_option("--out", texts_.out, "folder for all of it; refused if it holds files")
        ->option_text("DIR")
        ->check(is_not_empty)
        ->required()
        ->group("Output");
    command.add_flag("--replace", options_.replace, "replace an earlier result in that folder")
        ->group("Output");
    add_limit(command);
  }

  void add_limit(CLI::App& command) {
    command.add_option("--limit-ms", options_.limit_ms, "largest permitted misalignment [1.0]")
        ->option_text("X")
        ->check(is_a_length)
        ->group("Limits");
  }

  void add_stems(CLI::App& command) {
    command.add_option("--range", texts_.range, "mix|all|shared: what the stems cover [mix]")
        ->option_text("RANGE")
        ->check(is_one_of(kRanges))
        ->group("Stems");
    command.add_option("--clock", texts_.clock, "mix|TRACK: whose clock stays untouched [mix]")
        ->option_text("CLOCK")
        ->check(is_not_empty)
        ->group("Stems");
    command.add_option("--rate", texts_.rate_hz, "sample rate, a whole number [the clock's]")
        ->option_text("HZ")
        ->check(CLI::Range(1000, 768000))
        ->group("Stems");
    command.add_option("--bits", texts_.bits, "16|24|32f: sample format [24]")
        ->option_text("BITS")
        ->check(is_one_of(kBits))
        ->group("Stems");
    command
        .add_option("--container", texts_.container,
                    "wav|rf64|flac; RF64 by itself beyond 4 GiB [wav]")
        ->option_text("KIND")
        ->check(is_one_of(kContainers))
        ->group("Stems");
  }

  void add_edit_lists(CLI::App& command) {
    command
        .add_option("--fps", texts_.frame_rate, "23.976 to 60, or 29.97df: frames a second [25]")
        ->option_text("RATE")
        ->check(CLI::IsMember(edits::frame_rate_names()))
        ->group("Edit lists");
    command
        .add_option("--start-tc", texts_.start_timecode,
                    "HH:MM:SS:FF of the first sample [01:00:00:00]")
        ->option_text("TC")
        ->group("Edit lists");
  }

  void add_running(CLI::App& command) {
    command.add_option("--threads", options_.threads, "threads to work with [all cores]")
        ->option_text("N")
        ->check(CLI::Range(1, 1024))
        ->group("Running");
    command.add_flag("--quiet", options_.quiet, "no progress")->group("Running");
    command.add_flag("--json", options_.json, "one JSON document on stdout in place of the table")
        ->group("Running");
    command.set_help_flag("-h,--help", "print this help and exit")->group("Running");
  }

  const CLI::App* chosen() const {
    const auto commands = app_.get_subcommands();
    return commands.empty() ? nullptr : commands.front();
  }

  std::string help() const {
    return without_empty_line_pairs(chosen() == nullptr ? app_.help() : chosen()->help("kilter"));
  }

  Error wrong(const CLI::ParseError& error, std::span<const std::string> args) const {
    if (args.empty()) return {ErrorKind::bad_command, {}, "no command given", "read kilter --help"};
    if (chosen() == nullptr && !args.front().starts_with('-'))
      return {ErrorKind::bad_command,
              {},
              "there is no command \"" + args.front() + '"',
              "use survey, align, conform or check"};
    std::string what = error.what();
    if (dynamic_cast<const CLI::ExtrasError*>(&error) != nullptr)
      what = "unknown option" + what.substr(std::min(what.find(':'), what.size()));
    const std::string command = chosen() == nullptr ? "" : chosen()->get_name() + ' ';
    return {ErrorKind::bad_command,
            {},
            what.substr(0, what.find('\n')),
            "read kilter " + command + "--help"};
  }

  Result<std::variant<Options, Answer>> finished() const {
    Options options = options_;
    options.session.assign(texts_.session.begin(), texts_.session.end());
    if (!texts_.mix.empty()) options.mix = texts_.mix;
    if (!texts_.lineup.empty()) options.lineup = texts_.lineup;
    if (!texts_.cuts.empty()) options.cuts = texts_.cuts;
    if (!texts_.junit.empty()) options.junit = texts_.junit;
    options.out = texts_.out;
    options.rate_hz = texts_.rate_hz;
    if (!texts_.clock.empty()) options.clock = texts_.clock;
    options.range = value_of(texts_.range, kRanges);
    options.bits = value_of(texts_.bits, kBits);
    options.container = value_of(texts_.container, kContainers);
    if (options.container == media::Container::flac && options.bits == media::SampleFormat::float32)
      return Error{ErrorKind::bad_command,
                   {},
                   "--container: a FLAC file holds no floating-point samples",
                   "use --bits 16 or 24, or another kind of file"};
    options.frame_rate =
        edits::frame_rate_from_text(texts_.frame_rate).value_or(edits::FrameRate{});
    const auto start = edits::frame_of_timecode(texts_.start_timecode, options.frame_rate);
    if (!start) {
      Error error = start.error();
      error.what = "--start-tc: " + error.what;
      return error;
    }
    options.start_frame = *start;
    return {options};
  }

  CLI::App app_;
  Texts texts_;
  Options options_;
};

}  // namespace

Result<std::variant<Options, Answer>> parse_options(std::span<const std::string> args) {
  return Parser().parse(args);
}

std::string to_text(media::SampleFormat format) {
  switch (format) {
    case media::SampleFormat::pcm16:
      return "16-bit";
    case media::SampleFormat::pcm24:
      return "24-bit";
    case media::SampleFormat::float32:
      return "32-bit float";
  }
  return "";
}

}  // namespace kilter::commands

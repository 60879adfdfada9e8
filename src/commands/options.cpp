#include "options.h"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <map>

#include "kilter/base/parallel.h"

#ifndef KILTER_VERSION
#error "the build defines KILTER_VERSION"
#endif

namespace kilter::commands {
namespace {

const std::map<std::string, conform::StemRange> kRanges{{"mix", conform::StemRange::mix},
                                                        {"all", conform::StemRange::all},
                                                        {"shared", conform::StemRange::shared}};
const std::map<std::string, media::SampleFormat> kBits{{"16", media::SampleFormat::pcm16},
                                                       {"24", media::SampleFormat::pcm24},
                                                       {"32f", media::SampleFormat::float32}};

/// Texts as CLI11 takes them, before they become values.
struct Texts {
  std::vector<std::string> session;
  std::string mix;
  std::string lineup;
  std::string out;
  std::string range{"mix"};
  std::string bits{"24"};
};

class Parser {
 public:
  Parser() : app_("Lines up the tracks of a show with its mixdown.", "kilter") {
    options_.threads = available_threads();
    app_.require_subcommand(1);
    app_.set_version_flag("--version", "kilter " KILTER_VERSION);
    app_.set_help_flag("-h,--help", "print this help and exit");
    app_.footer(
        "Examples:\n"
        "  kilter align shows/lighthouse-12\n"
        "      finds where every track belongs; writes lighthouse-12.lineup.json here\n"
        "  kilter conform shows/lighthouse-12 --out lighthouse-12.conformed\n"
        "      writes aligned stems, a lineup and a cut list to that folder\n"
        "\n"
        "`kilter COMMAND --help` tells a command's options. Exit codes: 0 all well,\n"
        "1 finished but something needs a person, 2 command line wrong, 3 no usable\n"
        "input, 4 an output could not be written, 70 a bug, 130 interrupted.");
    add_survey();
    add_align();
    add_conform();
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
      return wrong(error);
    }
    return {finished()};
  }

 private:
  void add_survey() {
    CLI::App* command =
        add(Command::survey, "survey", "What arrived: a row per track, and findings.");
    command->footer(
        "Examples:\n"
        "  kilter survey shows/lighthouse-12\n"
        "  kilter survey keeper.wav guest.flac mixdown.mp3 --json");
  }

  void add_align() {
    CLI::App* command =
        add(Command::align, "align", "Where every track belongs: writes the lineup.");
    command
        ->add_option("--lineup", texts_.lineup, "where to write the lineup [NAME.lineup.json here]")
        ->option_text("FILE")
        ->group("Output");
    command->footer(
        "Examples:\n"
        "  kilter align shows/lighthouse-12\n"
        "  kilter align shows/lighthouse-12 --mix final.flac --lineup lineups/12.json");
  }

  void add_conform() {
    CLI::App* command = add(Command::conform, "conform",
                            "Stems that all start together and stay in step, a lineup and a cut "
                            "list. Aligns first, unless --lineup is given.");
    command->add_option("--lineup", texts_.lineup, "read this lineup instead of aligning")
        ->option_text("FILE")
        ->group("Input");
    command->add_option("--out", texts_.out, "output folder; refused if it holds files")
        ->option_text("DIR (required)")
        ->required()
        ->group("Output");
    command
        ->add_flag("--replace", options_.replace, "replace an earlier result in the output folder")
        ->group("Output");
    command
        ->add_option("--limit-ms", options_.limit_ms,
                     "largest permitted misalignment, milliseconds [1.0]")
        ->option_text("X")
        ->check(CLI::PositiveNumber)
        ->group("Output");
    add_stem_options(*command);
    command->footer(
        "Examples:\n"
        "  kilter conform shows/lighthouse-12 --out lighthouse-12.conformed\n"
        "  kilter conform shows/lighthouse-12 --lineup 12.lineup.json --out 12 --bits 16");
  }

  void add_stem_options(CLI::App& command) {
    command.add_option("--range", texts_.range, "mix | all | shared: what the stems cover [mix]")
        ->option_text("RANGE")
        ->check(one_of(kRanges))
        ->group("Stems");
    command.add_option("--rate", options_.rate_hz, "sample rate [the mix's]")
        ->option_text("HZ")
        ->check(CLI::Range(8000, 768000))
        ->group("Stems");
    command.add_option("--bits", texts_.bits, "16 | 24 | 32f: sample format [24]")
        ->option_text("BITS")
        ->check(one_of(kBits))
        ->group("Stems");
  }

  CLI::App* add(Command command, const std::string& name, const std::string& about) {
    CLI::App* sub = app_.add_subcommand(name, about);
    sub->callback([this, command] { options_.command = command; });
    // No CLI::ExistingFile here: the readers say better what is wrong, with the right exit code.
    sub->add_option("SESSION", texts_.session, "a folder, a session.toml, or audio files")
        ->option_text("...")
        ->required()
        ->group("Input");
    sub->add_option("--mix", texts_.mix, "the mixdown [found by name, else by sound]")
        ->option_text("FILE")
        ->group("Input");
    sub->add_option("--threads", options_.threads, "threads to work with [all cores]")
        ->option_text("N")
        ->check(CLI::Range(1, 1024))
        ->group("Running");
    sub->add_flag("--quiet", options_.quiet, "no progress")->group("Running");
    sub->add_flag("--json", options_.json, "one JSON document on stdout in place of the table")
        ->group("Running");
    return sub;
  }

  template <typename Values>
  static CLI::Validator one_of(const Values& values) {
    std::vector<std::string> names;
    for (const auto& [name, value] : values) names.push_back(name);
    return CLI::IsMember(names);
  }

  std::string help() const {
    const auto chosen = app_.get_subcommands();
    return chosen.empty() ? app_.help() : chosen.front()->help("kilter");
  }

  Error wrong(const CLI::ParseError& error) const {
    std::string what = error.what();
    if (const auto line = what.find('\n'); line != std::string::npos) what.resize(line);
    const auto chosen = app_.get_subcommands();
    const std::string command = chosen.empty() ? "" : chosen.front()->get_name() + ' ';
    return {ErrorKind::bad_command, {}, what, "read kilter " + command + "--help"};
  }

  Options finished() const {
    Options options = options_;
    options.session.assign(texts_.session.begin(), texts_.session.end());
    if (!texts_.mix.empty()) options.mix = texts_.mix;
    if (!texts_.lineup.empty()) options.lineup = texts_.lineup;
    options.out = texts_.out;
    options.range = kRanges.at(texts_.range);
    options.bits = kBits.at(texts_.bits);
    return options;
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

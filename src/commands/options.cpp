#include "options.h"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <map>
#include <string_view>

#include "help_text.h"
#include "kilter/base/parallel.h"
#include "mistyped.h"
#include "option_choices.h"
#include "shell_words.h"
#include "versions.h"
#include "words.h"

namespace kilter::commands {
namespace {

/// A number of milliseconds above 0 that some session could be off by.
std::string is_a_length(const std::string& text) {
  constexpr double kMost_ms = 3.6e6;
  double value = 0.0;
  const bool is_number = CLI::detail::lexical_cast(text, value);
  if (is_number && value > 0.0 && value <= kMost_ms) return {};
  return "must be a number of milliseconds above 0, and no more than an hour";
}

/// One of `choices`; else what it could have been meant for.
CLI::Validator is_one_of(const std::vector<std::string>& choices) {
  return {[choices](const std::string& text) {
            if (std::find(choices.begin(), choices.end(), text) != choices.end())
              return std::string();
            const auto meant = nearest(text, choices);
            return "\"" + text + "\" is none of " + listed(choices) +
                   (meant ? "; did you mean " + *meant + '?' : "");
          },
          ""};
}

CLI::Validator is_whole(int least, int most) {
  return {[=](const std::string& text) {
            int value = 0;
            const bool is_one = CLI::detail::lexical_cast(text, value);
            if (is_one && value >= least && value <= most) return std::string();
            return '"' + text + "\" is no whole number from " + std::to_string(least) + " to " +
                   std::to_string(most);
          },
          ""};
}

std::string is_not_empty(const std::string& text) {
  return text.empty() ? "must not be empty" : "";
}

/// What was typed, without what changes no result.
std::string line_of(std::span<const std::string> args) {
  constexpr std::array<std::string_view, 3> kFlags{"--quiet", "--json", "--replace"};
  constexpr std::array<std::string_view, 3> kWithValue{"--threads", "--out", "--html"};
  std::string line = "kilter";
  for (std::size_t i = 0; i < args.size(); ++i) {
    const std::string_view name = std::string_view(args[i]).substr(0, args[i].find('='));
    const auto is_name = [&](std::string_view other) { return name == other; };
    if (std::any_of(kFlags.begin(), kFlags.end(), is_name)) continue;
    if (std::any_of(kWithValue.begin(), kWithValue.end(), is_name))
      i += args[i].size() == name.size() ? 1 : 0;
    else
      line += ' ' + shell_word(args[i]);
  }
  return line;
}

/// What changes no session's result: where it goes, how the work is shared out, what is told.
bool bears_on_results(std::string_view name) {
  constexpr std::array<std::string_view, 15> kNone{
      "--out",   "--replace", "--threads", "--quiet",      "--json",
      "--junit", "--help",    "--jobs",    "--align-only", "--check-only",
      "--again", "--dry-run", "--list",    "--only",       "--merge"};
  return std::find(kNone.begin(), kNone.end(), name) == kNone.end();
}

/// "2/5"
std::optional<BatchShare> share_from_text(const std::string& text) {
  const std::size_t slash = text.find('/');
  BatchShare share;
  if (slash == std::string::npos || !CLI::detail::lexical_cast(text.substr(0, slash), share.part) ||
      !CLI::detail::lexical_cast(text.substr(slash + 1), share.parts))
    return std::nullopt;
  const bool is_one = share.part >= 1 && share.part <= share.parts && share.parts <= 100000;
  return is_one ? std::optional(share) : std::nullopt;
}

std::string is_a_share(const std::string& text) {
  return share_from_text(text) ? "" : '"' + text + "\" is no part K of N, as 2/5, from 1/N to N/N";
}

/// Texts as CLI11 takes them, before they become values.
struct Texts {
  std::vector<std::string> session;
  std::string mix;
  std::string lineup;
  std::string cuts;
  std::string junit;
  std::string html;
  std::string out;
  std::string range{"mix"};
  std::string clock;
  std::string bits{"24"};
  std::string container{"wav"};
  int rate_hz{0};
  std::string frame_rate{"25"};
  std::string start_timecode{"01:00:00:00"};
  std::string only;
  bool align_only{false};
  bool check_only{false};
};

/// The first line of what CLI11 says.
std::string reason(const CLI::ParseError& error) {
  const std::string what = error.what();
  if (dynamic_cast<const CLI::ArgumentMismatch*>(&error) != nullptr)
    return what.substr(0, what.find(':')) + " needs a value behind it";
  return what.substr(0, what.find('\n'));
}

class Parser {
 public:
  Parser() : app_("", "kilter") {
    options_.threads = available_threads();
    app_.require_subcommand(1);
    app_.set_version_flag("--version");
    app_.set_help_flag("-h,--help");
    for (const CommandWords& words : command_words()) add(words);
  }

  Result<std::variant<Options, Answer>> parse(std::span<const std::string> args) {
    if (!args.empty() && args.front() == "help") {  // many type that first
      std::vector<std::string> asked(args.begin() + 1, args.end());
      asked.emplace_back("--help");
      return parse(asked);
    }
    std::vector<std::string> reversed(args.rbegin(), args.rend());  // as CLI11 wants them
    try {
      app_.parse(reversed);
    } catch (const CLI::CallForHelp&) {
      return {Answer{help()}};
    } catch (const CLI::CallForVersion&) {
      return {Answer{version_text()}};
    } catch (const CLI::ParseError& error) {
      return wrong(error, args);
    }
    options_.line = line_of(args);
    return finished();
  }

 private:
  CLI::App* add(const CommandWords& words) {
    CLI::App* sub = app_.add_subcommand(words.name, words.about);
    sub->callback([this, &words] { options_.command = words.command; });
    // No CLI::ExistingFile here: the readers say better what is wrong, with the right exit code.
    sub->add_option(words.operand, texts_.session)->required();
    sub->set_help_flag("-h,--help");
    for (const OptionWords& option : words.options)
      if (option.name != "--help") add(*sub, option);
    return sub;
  }

  void add(CLI::App& command, const OptionWords& words) {
    if (words.takes == Takes::nothing) {
      command.add_flag(words.name, flag(words.name));
      return;
    }
    CLI::Option* option = add_value(command, words.name);
    // What a batch only lists goes nowhere.
    option->type_name("")->required(words.required && command.get_name() != "batch");
    if (words.takes == Takes::one_of) option->check(is_one_of(words.choices));
  }

  /// Where a flag goes; of a name that is none, a fault of ours.
  bool& flag(const std::string& name) {
    const std::map<std::string_view, bool*> flags{{"--replace", &options_.replace},
                                                  {"--clips", &options_.clips},
                                                  {"--allow-silent", &options_.allow_silent},
                                                  {"--sound-check", &options_.sound_check},
                                                  {"--write-session", &options_.write_session},
                                                  {"--again", &options_.batch.again},
                                                  {"--dry-run", &options_.batch.dry_run},
                                                  {"--list", &options_.batch.list},
                                                  {"--merge", &options_.batch.merge},
                                                  {"--align-only", &texts_.align_only},
                                                  {"--check-only", &texts_.check_only},
                                                  {"--quiet", &options_.quiet},
                                                  {"--json", &options_.json}};
    return *flags.at(name);
  }

  CLI::Option* add_value(CLI::App& command, const std::string& name) {
    if (name == "--limit-ms")
      return command.add_option(name, options_.limit_ms)->check(is_a_length);
    if (name == "--threads")
      return command.add_option(name, options_.threads)->check(is_whole(1, 1024));
    if (name == "--rate")
      return command.add_option(name, texts_.rate_hz)->check(is_whole(1000, 768000));
    if (name == "--jobs")
      return command.add_option(name, options_.batch.jobs)->check(is_whole(1, 1024));
    if (name == "--only") return command.add_option(name, texts_.only)->check(is_a_share);
    const std::map<std::string_view, std::string*> texts{{"--mix", &texts_.mix},
                                                         {"--lineup", &texts_.lineup},
                                                         {"--cuts", &texts_.cuts},
                                                         {"--junit", &texts_.junit},
                                                         {"--html", &texts_.html},
                                                         {"--out", &texts_.out},
                                                         {"--range", &texts_.range},
                                                         {"--clock", &texts_.clock},
                                                         {"--bits", &texts_.bits},
                                                         {"--fps", &texts_.frame_rate},
                                                         {"--container", &texts_.container},
                                                         {"--start-tc", &texts_.start_timecode}};
    return command.add_option(name, *texts.at(name))->check(is_not_empty);
  }

  const CLI::App* chosen() const {
    const auto commands = app_.get_subcommands();
    return commands.empty() ? nullptr : commands.front();
  }

  const CommandWords* chosen_words() const {
    for (const CommandWords& words : command_words())
      if (chosen() != nullptr && chosen()->get_name() == words.name) return &words;
    return nullptr;
  }

  std::string help() const {
    return chosen() == nullptr ? program_help() : command_help(*chosen_words());
  }

  /// The first argument that looks like an option and is none of the command's.
  std::optional<std::string> unknown_option(std::span<const std::string> args) const {
    const CLI::App* here = chosen() == nullptr ? &app_ : chosen();
    for (const std::string& rest : here->remaining())
      if (rest.starts_with('-') && rest != "--") return as_typed(rest, args);
    return {};
  }

  Error wrong(const CLI::ParseError& error, std::span<const std::string> args) const {
    if (args.empty()) return {ErrorKind::bad_command, {}, "no command given", "read kilter --help"};
    if (chosen() == nullptr && !args.front().starts_with('-')) return unknown_command(args.front());
    // Told before what is missing, which it may have been meant for.
    if (const auto name = unknown_option(args)) return unknown_option_error(*name, chosen_words());
    const std::string command = chosen() == nullptr ? "" : chosen()->get_name() + ' ';
    return {ErrorKind::bad_command, {}, reason(error), "read kilter " + command + "--help"};
  }

  /// As CLI11 has taken them apart, so that --bits=16 and --bits 16 are one.
  std::vector<Setting> settings() const {
    std::vector<Setting> given;
    for (const OptionWords& words : chosen_words()->options) {
      if (!bears_on_results(words.name)) continue;
      // No stem is written otherwise for that.
      if (words.name == "--allow-silent" && !texts_.check_only) continue;
      const CLI::Option* option = chosen()->get_option(words.name);
      if (option->count() == 0) continue;
      given.push_back({words.name, words.takes == Takes::nothing ? "" : option->results().back()});
    }
    std::sort(given.begin(), given.end(),
              [](const Setting& a, const Setting& b) { return a.name < b.name; });
    return given;
  }

  /// What only a batch is told.
  std::optional<Error> finish_batch(Options& options) const {
    const auto wrong_use = [](std::string what, std::string next) {
      return Error{ErrorKind::bad_command, {}, std::move(what), std::move(next)};
    };
    BatchOptions& batch = options.batch;
    if (texts_.align_only && texts_.check_only)
      return wrong_use("--align-only and --check-only exclude each other", "use one of them");
    if (texts_.align_only) batch.mode = BatchMode::align;
    if (texts_.check_only) batch.mode = BatchMode::check;
    if (batch.list + batch.dry_run + batch.merge > 1)
      return wrong_use("--list, --dry-run and --merge exclude each other", "use one of them");
    if (batch.merge && !texts_.only.empty())
      return wrong_use("--merge is for all parts, and --only for one", "use one of them");
    if (!texts_.only.empty()) batch.only = share_from_text(texts_.only);
    if (options.session.size() > 1)
      return wrong_use("a batch has one ARCHIVE", "name the folder above all sessions");
    if (texts_.out.empty() && !batch.list)
      return wrong_use("--out is required", "read kilter batch --help");
    return std::nullopt;
  }

  Result<std::variant<Options, Answer>> finished() const {
    Options options = options_;
    options.session.assign(texts_.session.begin(), texts_.session.end());
    if (!texts_.mix.empty()) options.mix = texts_.mix;
    if (!texts_.lineup.empty()) options.lineup = texts_.lineup;
    if (!texts_.cuts.empty()) options.cuts = texts_.cuts;
    if (!texts_.junit.empty()) options.junit = texts_.junit;
    if (!texts_.html.empty()) options.html = texts_.html;
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
    options.settings = settings();
    if (options.command == Command::batch)
      if (auto error = finish_batch(options)) return *std::move(error);
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

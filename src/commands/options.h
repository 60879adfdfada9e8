// The command line as a value.
#pragma once

#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/conform/conform.h"
#include "kilter/edits/timecode.h"

namespace kilter::commands {

enum class Command { survey, align, conform, check, batch };

/// What a batch does with each session.
enum class BatchMode { conform, align, check };

/// One of several equal shares of an archive's sessions.
struct BatchShare {
  int part{1};  ///< from 1
  int parts{1};
};

struct BatchOptions {
  BatchMode mode{BatchMode::conform};
  int jobs{1};  ///< sessions side by side
  bool again{false};
  bool dry_run{false};
  bool list{false};
  bool merge{false};
  std::optional<BatchShare> only;
};

/// An option that was given, and bears on results.
struct Setting {
  std::string name;   ///< "--bits"
  std::string value;  ///< empty for a flag
};

struct Options {
  Command command{Command::survey};
  std::vector<std::filesystem::path> session;
  std::optional<std::filesystem::path> mix;
  std::optional<std::filesystem::path> lineup;  ///< align: to write; others: to read
  std::optional<std::filesystem::path> cuts;
  std::optional<std::filesystem::path> junit;
  std::optional<std::filesystem::path> html;  ///< survey: where its page goes
  bool allow_silent{false};                   ///< check: stems pass that hardly sound
  std::filesystem::path out;
  bool replace{false};
  bool clips{false};  ///< conform: listening clips beside the stems
  double limit_ms{1.0};
  conform::StemRange range{conform::StemRange::mix};
  std::optional<std::string> clock;  ///< "mix" or a track; nothing: the lineup's
  double rate_hz{0.0};               ///< 0: the mix's, or the clock's
  media::SampleFormat bits{media::SampleFormat::pcm24};
  media::Container container{media::Container::wav};
  edits::FrameRate frame_rate;      ///< of the edit lists
  std::int64_t start_frame{90000};  ///< of the record timecode
  int threads{1};
  bool sound_check{false};    ///< survey: of a test take, what to mend before the show
  bool write_session{false};  ///< survey: a session.toml to begin with
  bool quiet{false};
  bool json{false};
  BatchOptions batch;
  std::vector<Setting> settings;  ///< in order of their names
  /// As it was typed, in words that a shell takes, but for what changes no result: --out, --html,
  /// --replace, --threads, --quiet, --json.
  std::string line;
};

/// A text that was asked for in place of work: the help or the version.
struct Answer {
  std::string text;
};

/// Fails with bad_command.
Result<std::variant<Options, Answer>> parse_options(std::span<const std::string> args);

/// "24-bit"
std::string to_text(media::SampleFormat format);

}  // namespace kilter::commands

// The command line, an argument per line: options within their bounds, an answer, or an error that
// says what to do. The same arguments give the same.
#include <vector>

#include "fuzz.h"
#include "options.h"

namespace kilter::fuzz {
namespace {

using namespace commands;

std::vector<std::string> lines_of(std::string_view text) {
  std::vector<std::string> lines;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    // What a program is given ends at its first zero.
    lines.emplace_back(text.substr(0, std::min(end, text.substr(0, end).find('\0'))));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return lines;
}

/// To its label, to the sample where it begins at this rate, and back.
void require_there_and_back(std::int64_t frame, const edits::FrameRate& rate,
                            std::int64_t samples_per_s) {
  const auto named = edits::frame_of_timecode(edits::timecode_text(frame, rate), rate);
  require(named && *named == frame, "a frame's label names it");
  const std::int64_t sample = edits::first_sample_of_frame(frame, rate, samples_per_s);
  require(edits::frame_of_sample(sample, rate, samples_per_s) == frame, "its sample lies in it");
  require(edits::frame_of_sample(sample - 1, rate, samples_per_s) == frame - 1,
          "and is the first that does");
}

void require_sensible(const Options& options) {
  require(!options.session.empty(), "a command has something to work on");
  require(options.threads >= 1 && options.threads <= 1024, "1 to 1024 threads");
  require(options.batch.jobs >= 1 && options.batch.jobs <= 1024, "1 to 1024 jobs");
  require(options.limit_ms > 0.0 && options.limit_ms <= 3.6e6, "a limit is a length");
  require(options.rate_hz == 0.0 || (options.rate_hz >= 1000.0 && options.rate_hz <= 768000.0),
          "a rate is one that files have");
  require(options.start_frame >= 0 && options.start_frame < options.frame_rate.frames_per_day(),
          "the record starts within a day");
  require_there_and_back(options.start_frame, options.frame_rate,
                         options.rate_hz == 0.0 ? 48000 : static_cast<int>(options.rate_hz));
  require(edits::frame_rate_from_text(edits::to_text(options.frame_rate)).has_value(),
          "a frame rate has a name");
  require(!to_text(options.bits).empty(), "a kind of samples has a name");
  if (const auto& share = options.batch.only)
    require(share->part >= 1 && share->part <= share->parts, "a share is one of those there are");
  for (const auto* file : {&options.mix, &options.lineup, &options.cuts, &options.junit})
    require(!*file || !(*file)->empty(), "a file that is named has a name");
  require(options.line.starts_with("kilter "), "the line is a command");
}

}  // namespace

void try_input(Input input) {
  const auto args = lines_of(input.rest());
  const auto parsed = parse_options(args);
  const auto again = parse_options(args);
  require(static_cast<bool>(parsed) == static_cast<bool>(again), "the same for the same");
  if (!parsed) {
    require(parsed.error().kind == ErrorKind::bad_command, "a wrong line is a bad command");
    require_clear(parsed.error());
    return;
  }
  if (const auto* answer = std::get_if<Answer>(&*parsed)) {
    require(!answer->text.empty(), "an answer has words");
    return;
  }
  require_sensible(std::get<Options>(*parsed));
  require(std::get<Options>(*parsed).line == std::get<Options>(*again).line, "the same line");
}

}  // namespace kilter::fuzz

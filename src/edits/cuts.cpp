#include "kilter/edits/cuts.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <string_view>

#include "cut_columns.h"
#include "kilter/base/clock_text.h"
#include "kilter/base/utf8.h"
#include "kilter/edits/text_file.h"
#include "pieces.h"

namespace kilter::edits {
namespace {

constexpr std::string_view kExplanation = R"(#
# A row is one cut: a stretch of one original file that belongs on the timeline in one piece.
# Below the comments the first line names the columns; a tab stands between two cells.
#
#   track           the track's name
#   file            the original file, from the session folder
#   channel         its channel, from 1
#   source_rate     its frames per second, as its header says
#   source_first    the cut's first frame in the file, from 0
#   source_last     the cut's last frame in the file
#   timeline_first  where the first frame belongs: frames of the timeline, with a fraction
#   timeline_last   where the last frame belongs
#   start           timeline_first as hh:mm:ss.mmm
#   timecode        the record timecode that is nearest to it
#   speed           play the file at this speed: 1 is as recorded
#   percent         the same in percent: 100 is as recorded
#   polarity        normal, or inverted: turn it round
#   standing        firm, or shaky: look at it before you trust it
#   uncertainty_us  the place is right to within this many microseconds, 95 times in 100
#   recorder        tracks with one letter share a recorder's clock
#   findings        what was found out about the track
#
# By hand, in any editor: cut the file from source_first to source_last, change its speed to
# `speed` or `percent` (with the pitch; leave it out and the end drifts), and move its start to
# timeline_first, rounded, or to `start`, or to `timecode`, whichever the editor counts in.
# Negative: it begins before the timeline does. Frame 0 of the timeline is the first frame of its
# clock.
#
# To overrule what was found: change cells, take rows out or add some, and name this table to
# kilter conform with --cuts. timeline_first and speed say where a cut lies; where you change them,
# empty timeline_last and start, which must not contradict. Without a row a track is left out.
# timecode, percent and findings are not read.
#
# In names a control character, a byte that is no text, a double quote, a backslash, and in front
# one of # = + - @ are written \xNN: NN is the byte in hexadecimal.
#
)";

/// One cell, whatever a spreadsheet makes of quotes and formulas.
std::string cell(std::string_view text) {
  std::string escaped;
  while (!text.empty()) {
    const Utf8Letter letter = first_letter(text);
    const bool in_front =
        escaped.empty() && std::string_view("#=+-@").find(text.front()) != std::string_view::npos;
    const bool as_it_is = letter.valid && !is_control(letter.code) && letter.code != '"' &&
                          letter.code != '\\' && !in_front;
    for (const char each : text.substr(0, letter.bytes)) {
      if (as_it_is)
        escaped += each;
      else
        escaped += fmt::format("\\x{:02X}", static_cast<unsigned char>(each));
    }
    text.remove_prefix(letter.bytes);
  }
  return escaped;
}

std::string codes_of(const std::vector<Finding>& findings) {
  std::string codes;
  std::set<std::string_view> named;  // three seams are told once
  for (const Finding& finding : findings)
    if (named.insert(finding.code).second) codes += (codes.empty() ? "" : ",") + finding.code;
  return codes;
}

/// The nearest label to a second of the timeline.
std::string timecode_of(double line_s, const RecordTime& record) {
  const double frames = (line_s - record.origin_s) * static_cast<double>(record.rate.numerator()) /
                        static_cast<double>(record.rate.denominator());
  return timecode_text(record.start_frame + std::llround(std::clamp(frames, -0x1p50, 0x1p50)),
                       record.rate);
}

std::string row(const Lineup& lineup, const RecordTime& record, const Piece& piece) {
  const LineupTrack& track = *piece.track;
  const std::int64_t last = piece.end - 1;
  const double from_s = piece.line_s(static_cast<double>(piece.first));
  const double to_s = piece.line_s(static_cast<double>(last));
  const double speed = 1.0 / piece.span.rate();
  return fmt::format(
      "{}\t{}\t{}\t{}\t{}\t{}\t{:.6f}\t{:.6f}\t{}\t{}\t{:.12f}\t{:.10f}\t{}\t{}\t{:.3f}\t{}\t{}\n",
      cell(track.name), cell(piece.file().file), piece.file().channel, track.rate_hz, piece.first,
      last, from_s * lineup.timeline_rate_hz, to_s * lineup.timeline_rate_hz, clock_text(from_s),
      timecode_of(from_s, record), speed, 100.0 * speed, track.inverted ? "inverted" : "normal",
      to_text(track.standing), piece.span.uncertainty_us, cell(track.recorder),
      cell(codes_of(track.findings)));
}

std::string columns() {
  std::string line;
  for (const char* name : kCutColumns) line.append(line.empty() ? "" : "\t").append(name);
  return line + '\n';
}

std::string head(const Lineup& lineup, const RecordTime& record) {
  std::string text = fmt::format(
      "# kilter cuts, version 1\n# session: {}\n"
      "{}{}, {} frames a second, from {:.9f} s to {:.9f} s\n"
      "# timecode: {} is {:.9f} s of the timeline, at {} frames of picture a second\n",
      cell(lineup.session), kTimelineComment, cell(lineup.timeline_clock), lineup.timeline_rate_hz,
      lineup.from_s, lineup.to_s, timecode_text(record.start_frame, record.rate), record.origin_s,
      to_text(record.rate));
  text += kExplanation;
  for (const LineupTrack& track : lineup.tracks)
    if (!track.is_used())
      text += fmt::format("# {}: {}\n", track.map ? "left out" : "not placed", cell(track.name));
  return text;
}

}  // namespace

std::string cuts_text(const Lineup& lineup, const RecordTime& record) {
  std::string text = head(lineup, record) + columns();
  for (const LineupTrack& track : lineup.tracks) {
    if (!track.is_used()) continue;
    for (const Piece& piece : pieces_of(track)) text += row(lineup, record, piece);
  }
  return text;
}

Result<void> write_cuts(const Lineup& lineup, const RecordTime& record,
                        const std::filesystem::path& file) {
  return write_text(file, cuts_text(lineup, record));
}

}  // namespace kilter::edits

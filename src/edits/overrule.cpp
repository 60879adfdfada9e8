#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cut_columns.h"
#include "kilter/base/clock_text.h"
#include "kilter/edits/cuts.h"
#include "pieces.h"

namespace kilter::edits {
namespace {

/// What a table's rounding may move a place by, with room: the reader's own arithmetic and a speed
/// of twelve decimals over a day at 192 kHz.
constexpr double kSamePlace_frames = 0.02;
constexpr double kSameSpeed = 2e-12;
constexpr double kSameBound_us = 0.001;
constexpr double kSameStart_s = 0.0011;  // `start` has milliseconds

/// Where a row's file lies in its track.
struct Placed {
  const CutRow* row{nullptr};
  std::size_t part{0};
  std::int64_t part_first{0};  ///< counted over all parts

  std::int64_t first() const { return part_first + row->source_first; }
  std::int64_t end() const { return part_first + row->source_last + 1; }
};

Error wrong(const CutTable& table, const CutRow& row, CutColumn column, const std::string& what) {
  return {ErrorKind::unreadable, table.file,
          fmt::format("line {}, column {}: {}", row.line,
                      kCutColumns[static_cast<std::size_t>(column)], what),
          "mend the line, or take the table that conform wrote and change it again"};
}

std::optional<Placed> placed_in(const LineupTrack& track, const CutRow& row) {
  std::int64_t part_first = 0;
  for (std::size_t part = 0; part < track.parts.size(); ++part) {
    if (track.parts[part].file == row.file && track.parts[part].channel == row.channel)
      return Placed{&row, part, part_first};
    part_first += track.parts[part].frames;
  }
  return std::nullopt;
}

/// The rows of every track of a lineup, in the order of its tracks.
using RowsOfTracks = std::vector<std::vector<Placed>>;

Result<RowsOfTracks> rows_of_tracks(const Lineup& lineup, const CutTable& table) {
  RowsOfTracks rows(lineup.tracks.size());
  for (const CutRow& row : table.rows) {
    bool name_known = false;
    bool taken = false;
    for (std::size_t i = 0; i < lineup.tracks.size() && !taken; ++i) {
      if (lineup.tracks[i].name != row.track) continue;
      name_known = true;
      const auto placed = placed_in(lineup.tracks[i], row);
      if (placed) rows[i].push_back(*placed);
      taken = placed.has_value();
    }
    if (!name_known)
      return wrong(table, row, CutColumn::track, "the lineup has no track \"" + row.track + '"');
    if (!taken)
      return wrong(table, row, CutColumn::file,
                   fmt::format("the track has no channel {} of \"{}\"", row.channel, row.file));
  }
  return rows;
}

/// One track, as its rows say.
class TrackOverruler {
 public:
  TrackOverruler(const Lineup& lineup, const LineupTrack& track, const CutTable& table,
                 std::vector<Placed> rows)
      : lineup_(lineup), track_(track), table_(table), rows_(std::move(rows)) {
    std::stable_sort(rows_.begin(), rows_.end(),
                     [](const Placed& a, const Placed& b) { return a.first() < b.first(); });
  }

  Result<LineupTrack> overruled() const {
    if (rows_.empty()) return track_.is_used() ? left_out() : track_;
    for (const Placed& placed : rows_)
      if (auto error = problem_of(placed)) return *std::move(error);
    const std::string changes = changes_text();
    if (changes.empty()) return track_;
    auto map = map_of_rows();
    if (!map) return map.error();
    return changed(*std::move(map), changes);
  }

 private:
  double track_s(std::int64_t frame) const { return static_cast<double>(frame) / track_.rate_hz; }
  double line_s(const CutRow& row) const { return row.timeline_first / lineup_.timeline_rate_hz; }
  /// How long the timeline is for some of a row's frames.
  double line_length_s(const CutRow& row, std::int64_t frames) const {
    return track_s(frames) / row.speed;
  }

  std::optional<Error> problem_of(const Placed& placed) const {
    const CutRow& row = *placed.row;
    const auto error = [&](CutColumn column, const std::string& what) {
      return wrong(table_, row, column, what);
    };
    if (std::abs(row.source_rate_hz - track_.rate_hz) > 1e-6 * track_.rate_hz)
      return error(CutColumn::source_rate, fmt::format("the file has {}", track_.rate_hz));
    const std::int64_t frames = track_.parts[placed.part].frames;
    if (row.source_last >= frames)
      return error(CutColumn::source_last, fmt::format("the file's last frame is {}", frames - 1));
    const double last =
        row.timeline_first +
        line_length_s(row, row.source_last - row.source_first) * lineup_.timeline_rate_hz;
    if (row.timeline_last && !(std::abs(*row.timeline_last - last) < kSamePlace_frames))
      return error(CutColumn::timeline_last,
                   fmt::format("from timeline_first and speed follows {:.6f}: write that, or "
                               "empty the cell",
                               last));
    if (!row.start.empty() && !names_start(row))
      return error(CutColumn::start, fmt::format("from timeline_first follows {}: write that, or "
                                                 "empty the cell",
                                                 clock_text(line_s(row))));
    const CutRow& first = *rows_.front().row;
    if (row.inverted != first.inverted)
      return error(CutColumn::polarity,
                   fmt::format("line {} says otherwise of this track", first.line));
    if (row.standing != first.standing)
      return error(CutColumn::standing,
                   fmt::format("line {} says otherwise of this track", first.line));
    if (row.recorder != first.recorder)
      return error(CutColumn::recorder,
                   fmt::format("line {} says otherwise of this track", first.line));
    return std::nullopt;
  }

  /// Whether `start` is timeline_first but for the last digit.
  bool names_start(const CutRow& row) const {
    for (const double off_s : {0.0, kSameStart_s, -kSameStart_s})
      if (row.start == clock_text(line_s(row) + off_s)) return true;
    return false;
  }

  /// The rows' spans. One that ends a hair behind the next one's beginning, by the table's
  /// rounding, is shortened by that.
  Result<TimeMap> map_of_rows() const {
    std::vector<Span> spans;
    for (std::size_t i = 0; i < rows_.size(); ++i) {
      const CutRow& row = *rows_[i].row;
      const double from_s = line_s(row);
      Span span{track_s(rows_[i].first()), track_s(rows_[i].end()), from_s,
                from_s + line_length_s(row, row.source_last + 1 - row.source_first),
                row.uncertainty_us};
      if (i + 1 < rows_.size()) {
        const CutRow& next = *rows_[i + 1].row;
        if (rows_[i].end() > rows_[i + 1].first())
          return wrong(table_, next, CutColumn::source_first,
                       fmt::format("lies inside the cut of line {}", row.line));
        // A last frame may reach a little beyond the span that holds its beginning.
        const double over_s = span.line_to_s - line_s(next);
        if (over_s > line_length_s(row, 1) + kSamePlace_frames / lineup_.timeline_rate_hz)
          return wrong(table_, next, CutColumn::timeline_first,
                       fmt::format("the cut of line {}, which comes before it in the file, is not "
                                   "over yet",
                                   row.line));
        if (over_s > 0.0) {
          span.to_s -= over_s * row.speed;
          span.line_to_s = line_s(next);
        }
      }
      spans.push_back(span);
    }
    auto map = TimeMap::make(std::move(spans));
    if (map) return map;
    return wrong(table_, *rows_.front().row, CutColumn::timeline_first,
                 "the cuts of this track make no map: " + map.error().what);
  }

  /// What the rows say otherwise than the lineup, in words; empty where nothing.
  std::string changes_text() const {
    const CutRow& first = *rows_.front().row;
    std::vector<std::string> changes;
    if (!track_.is_used())
      changes.emplace_back(track_.map ? "it was left out" : "it was not placed");
    else if (const std::string moved = moves_text(); !moved.empty())
      changes.push_back(moved);
    if (first.inverted != track_.inverted)
      changes.emplace_back(track_.inverted ? "it was taken to be inverted"
                                           : "it was not taken to be inverted");
    if (track_.is_used() && first.standing != track_.standing)
      changes.push_back(fmt::format("it was {}", to_text(track_.standing)));
    if (first.recorder != track_.recorder)
      changes.push_back(fmt::format("its recorder was \"{}\"", track_.recorder));
    std::string text;
    for (const std::string& change : changes) text += (text.empty() ? "" : ", ") + change;
    return text;
  }

  /// How the cuts of a track that was placed differ from what was found.
  std::string moves_text() const {
    const auto pieces = pieces_of(track_);
    bool same_cuts = pieces.size() == rows_.size();
    for (std::size_t i = 0; same_cuts && i < pieces.size(); ++i)
      same_cuts = pieces[i].part == rows_[i].part &&
                  pieces[i].first == rows_[i].row->source_first &&
                  pieces[i].end == rows_[i].row->source_last + 1;
    if (!same_cuts) return fmt::format("it was cut otherwise, in {}", pieces.size());
    for (std::size_t i = 0; i < pieces.size(); ++i) {
      const CutRow& row = *rows_[i].row;
      const double was_s = pieces[i].line_s(static_cast<double>(pieces[i].first));
      if (std::abs(line_s(row) - was_s) * lineup_.timeline_rate_hz > kSamePlace_frames)
        return fmt::format("the cut at {} lay at {}", clock_text(line_s(row), 6),
                           clock_text(was_s, 6));
      const double was_speed = 1.0 / pieces[i].span.rate();
      if (std::abs(row.speed - was_speed) > kSameSpeed)
        return fmt::format("the cut at {} had the speed {:.12f}", clock_text(was_s), was_speed);
      if (std::abs(row.uncertainty_us - pieces[i].span.uncertainty_us) > kSameBound_us)
        return fmt::format("the cut at {} was right to {:.3f} us", clock_text(was_s),
                           pieces[i].span.uncertainty_us);
    }
    return "";
  }

  std::string table_name() const { return table_.file.filename().string(); }

  LineupTrack left_out() const {
    LineupTrack track = track_;
    track.role = Role::ignore;
    track.findings.push_back(finding(
        fmt::format("Left out by hand: \"{}\" holds no cut of it. Nothing to do, if that is meant.",
                    table_name())));
    return track;
  }

  LineupTrack changed(TimeMap map, const std::string& changes) const {
    const CutRow& first = *rows_.front().row;
    LineupTrack track = track_;
    if (!track.is_used() && track.role != Role::remote) track.role = Role::room;
    track.standing = first.standing;
    track.inverted = first.inverted;
    track.recorder = first.recorder;
    track.uncertainty_us = 0.0;
    for (const Span& span : map.spans())
      track.uncertainty_us = std::max(track.uncertainty_us, span.uncertainty_us);
    track.map = std::move(map);
    track.findings.push_back(finding(
        fmt::format("Placed by hand (\"{}\", from line {} on): {}. Listen to it against the mix.",
                    table_name(), first.line, changes)));
    return track;
  }

  static Finding finding(std::string text) {
    Finding finding;
    finding.code = "overruled";
    finding.text = std::move(text);
    return finding;
  }

  const Lineup& lineup_;
  const LineupTrack& track_;
  const CutTable& table_;
  std::vector<Placed> rows_;  // in the order of the file
};

}  // namespace

Result<Lineup> overruled(const Lineup& lineup, const CutTable& table) {
  if (table.timeline_rate_hz && *table.timeline_rate_hz != lineup.timeline_rate_hz)
    return Error{ErrorKind::unreadable, table.file,
                 fmt::format("counts {} frames a second on the timeline, the lineup {}",
                             *table.timeline_rate_hz, lineup.timeline_rate_hz),
                 "name the lineup that the table was written with, with --lineup"};
  auto rows = rows_of_tracks(lineup, table);
  if (!rows) return rows.error();
  Lineup result = lineup;
  for (std::size_t i = 0; i < result.tracks.size(); ++i) {
    auto track = TrackOverruler(lineup, lineup.tracks[i], table, std::move((*rows)[i])).overruled();
    if (!track) return track.error();
    result.tracks[i] = *std::move(track);
  }
  return result;
}

}  // namespace kilter::edits

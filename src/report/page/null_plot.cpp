// How far all tracks together explain the mix, drawn below the timeline.
#include "null_plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "columns.h"
#include "kilter/base/decibels.h"
#include "markup.h"
#include "parts.h"

namespace kilter::report {
namespace {

constexpr int kColumns = 1000;
constexpr int kNothing = -1;

struct ColumnRest {
  double worst_db{kDeepest_db};
  double mix{0.0};
  double rest{0.0};
};

/// Of what is left, up from the bottom.
int height_of(double rest_db) {
  return static_cast<int>(std::lround(100.0 * (1.0 - std::clamp(rest_db / kDeepest_db, 0.0, 1.0))));
}

std::string path_of(const std::vector<int>& heights) {
  const std::string along =
      'h' + std::to_string(static_cast<int>(kAxisUnits) / static_cast<int>(heights.size()));
  std::string path;
  int before = kNothing;
  for (std::size_t i = 0; i < heights.size(); ++i) {
    const int height = heights[i];
    if (height != kNothing) {
      if (before == kNothing)
        path += 'M' + std::to_string(i * static_cast<std::size_t>(kAxisUnits) / heights.size()) +
                " 100";
      if (height != before) path += 'V' + std::to_string(100 - height);
      path += along;
    } else if (before != kNothing) {
      path += "V100z";
    }
    before = height;
  }
  return before == kNothing ? path : path + "V100z";
}

/// Voices and music that no track holds: why much is left there.
std::string areas_html(const PageParts& parts) {
  std::string html;
  for (const NumberedFinding& each : parts.findings) {
    const bool voice = each.finding->code == "missing-voice" || each.finding->code == "mix-repeat";
    if (!voice && each.finding->code != "mix-music") continue;
    for (const Stretch& stretch : each.finding->stretches)
      html += fmt::format("<i class=\"area {}\"{}></i>", voice ? "voice" : "music",
                          style_at(parts.axis, stretch));
  }
  return html;
}

std::string note_html(const char* text) {
  return std::string("<p class=\"unmeasured\">") + text + "</p>\n";
}

std::string plot_html(const PageParts& parts, const NullDepth& null) {
  const Lineup& lineup = *parts.page.lineup;
  const NullPaths paths = null_paths(null, lineup.mix->spans, parts.axis, kColumns);
  std::string lines;
  for (const int y : {25, 50, 75}) lines += fmt::format("M0 {}H{:.0f}", y, kAxisUnits);
  return fmt::format(
      "<div class=\"lane null\"><div class=\"who\"><bdi>what is left</bdi><span "
      "class=\"words\">typically {:.1f} dB</span></div>"
      "<div class=\"plot\" data-null=\"\"><div class=\"over under\">{}</div>"
      "<svg viewBox=\"0 0 {:.0f} 100\" preserveAspectRatio=\"none\" role=\"img\" "
      "aria-label=\"what all tracks together leave of the mix, from {:.0f} to 0 dB; typically "
      "{:.1f} dB\"><path class=\"worst\" d=\"{}\"/><path class=\"whole\" d=\"{}\"/></svg>"
      "<svg viewBox=\"0 0 {:.0f} 100\" preserveAspectRatio=\"none\" aria-hidden=\"true\"><path "
      "class=\"zero\" d=\"{}\"/></svg><div class=\"over\">{}</div>"
      "<span class=\"high\">0 dB</span><span class=\"low\">&minus;{:.0f} "
      "dB</span></div></div>\n",
      null.typical_db, runs_html(parts.axis, lineup.mix->spans), kAxisUnits, kDeepest_db,
      null.typical_db, paths.worst.empty() ? "M0 100" : paths.worst,
      paths.whole.empty() ? "M0 100" : paths.whole, kAxisUnits, lines, areas_html(parts),
      -kDeepest_db);
}

constexpr const char* kLegend = R"(<ul class="legend">
<li><i class="key whole"></i> left of the mix, all in all</li>
<li><i class="key worst"></i> in the worst half second</li>
<li>nothing drawn: a pause, or no track lies there</li>
</ul>
)";

}  // namespace

NullBytes null_bytes(const NullDepth& null) {
  NullBytes bytes;
  float loudest_db = -200.0F;
  for (const NullCell& cell : null.cells)
    if (cell.kind != NullCell::Kind::uncovered) loudest_db = std::max(loudest_db, cell.mix_db);
  for (const NullCell& cell : null.cells) {
    const double quarters = std::clamp(-4.0 * static_cast<double>(cell.rest_db), 0.0, 253.0);
    bytes.rest += static_cast<char>(static_cast<unsigned char>(
        cell.kind == NullCell::Kind::uncovered ? 0.0
        : cell.kind == NullCell::Kind::pause   ? 1.0
                                               : 2.0 + std::round(quarters)));
    const double halves = 2.0 * static_cast<double>(loudest_db - cell.mix_db);
    bytes.mix += static_cast<char>(
        static_cast<unsigned char>(255.0 - std::clamp(std::round(halves), 0.0, 255.0)));
  }
  return bytes;
}

NullPaths null_paths(const NullDepth& null, const std::vector<Span>& spans, const Axis& axis,
                     int columns) {
  if (null.cells.empty()) return {};
  std::vector<ColumnRest> rests(static_cast<std::size_t>(columns));
  for_cells(Cells{null.cell_s, null.cells.size()}, spans, axis, columns,
            [&](std::size_t column, std::size_t i) {
              const NullCell& cell = null.cells[i];
              if (cell.kind != NullCell::Kind::told) return;
              ColumnRest& rest = rests[column];
              rest.worst_db = std::max(rest.worst_db, static_cast<double>(cell.rest_db));
              rest.mix += db_to_power(static_cast<double>(cell.mix_db));
              rest.rest += db_to_power(static_cast<double>(cell.mix_db + cell.rest_db));
            });
  std::vector<int> worst;
  std::vector<int> whole;
  for (const ColumnRest& rest : rests) {
    const bool told = rest.mix > 0.0;
    worst.push_back(told ? height_of(rest.worst_db) : kNothing);
    whole.push_back(told ? height_of(power_to_db(rest.rest / rest.mix)) : kNothing);
  }
  return {path_of(worst), path_of(whole)};
}

std::string null_part(const PageParts& parts) {
  const Heard* heard = parts.page.heard;
  if (!parts.page.lineup->mix) return "";
  std::string content =
      "<p>All tracks together, as they lie, are taken out of the mix: the lower, the better "
      "explained. A voice that no track holds leaves much, and so does a track that is out of "
      "step.</p>\n";
  if (heard == nullptr)
    content += note_html(
        "Not measured: the lineup was given. <code>kilter check</code> measures the finished "
        "stems.");
  else if (heard->moved_since)
    content += note_html(
        "Not told: somebody has put tracks elsewhere than where they were measured. <code>kilter "
        "check</code> measures the finished stems.");
  else if (heard->null.cells.empty())
    content += note_html("Not measured: no track is placed by its sound.");
  else
    content +=
        "<div class=\"lanes\" tabindex=\"0\" role=\"group\" aria-label=\"What the tracks leave of "
        "the mix. Plus and minus zoom, arrows move, 0 shows all.\">\n" +
        plot_html(parts, heard->null) + "</div>\n" + kLegend;
  return section("null", "How far the tracks explain the mix", content);
}

}  // namespace kilter::report

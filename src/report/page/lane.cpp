#include "lane.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "kilter/base/clock_text.h"
#include "markup.h"
#include "titles.h"
#include "wave.h"

namespace kilter::report {
namespace {

constexpr int kColumns = 500;

/// How a finding's stretches are hatched; empty for those that are only flagged.
std::string_view hatch_of(const Finding& finding) {
  if (finding.code == "missing-voice") return "voice";
  if (finding.code == "mix-music") return "music";
  if (finding.code == "excursion") return "held";
  if (finding.code == "leak") return "leak";
  return finding.stretches.empty() ? "" : "other";
}

/// Rows for flags, from the top, so that close ones do not hide each other.
class FlagRows {
 public:
  explicit FlagRows(const Axis& axis) : axis_(axis) {}

  std::size_t row_for(double line_s) {
    constexpr double kApart = 0.03;
    const double share = axis_.share(line_s);
    for (std::size_t row = 0; row < taken_.size(); ++row) {
      const bool is_free = std::none_of(taken_[row].begin(), taken_[row].end(), [&](double other) {
        return std::abs(share - other) < kApart;
      });
      if (!is_free && row + 1 < taken_.size()) continue;
      taken_[row].push_back(share);
      return row;
    }
    return 0;
  }

 private:
  const Axis& axis_;
  std::array<std::vector<double>, 3> taken_;
};

std::string flag(const PageParts& parts, const NumberedFinding& each, FlagRows& rows) {
  constexpr std::array kRows{"", " row2", " row3"};
  const double line_s = each.place->line_from_s;
  const std::string title = title_of(*each.finding) + ", " + clock_text(line_s);
  return fmt::format("<a class=\"flag{}{}\" href=\"#f{}\" title=\"{}\"{}>{}</a>",
                     each.needs_person ? " need" : "", kRows[rows.row_for(line_s)], each.number,
                     escaped(title), style_at(parts.axis, line_s), each.number);
}

/// Whether a finding shows in the lane of the mix (nullptr), as what the session lacks does, or in
/// that of a track.
bool is_in_lane(const NumberedFinding& each, const LineupTrack* track) {
  return track != nullptr ? each.track == track : each.owner != Owner::track;
}

std::string extent_text(const std::vector<Span>& spans) {
  const auto runs = runs_of(spans);
  if (runs.empty()) return "no place on the timeline";
  return fmt::format("sound from {} to {}{}", clock_text(runs.front().line_from_s, 1),
                     clock_text(runs.back().line_to_s, 1),
                     runs.size() > 1 ? fmt::format(" in {} pieces", runs.size()) : "");
}

std::string ticks_html(const PageParts& parts) {
  std::string html;
  constexpr double kLast = 0.94;  // a label further right would be cut off
  for (const double tick : ticks_of(parts.axis, 6))
    if (parts.axis.share(tick) < kLast)
      html += "<span class=\"tick\"" + style_at(parts.axis, tick) + ">" + clock_text(tick, 0) +
              "</span>";
  return html;
}

}  // namespace

std::string runs_html(const Axis& axis, const std::vector<Span>& spans) {
  std::string html;
  for (const Stretch& run : runs_of(spans))
    html += "<i class=\"run\"" + style_at(axis, run) + "></i>";
  return html;
}

std::string lane_marks(const PageParts& parts, const LineupTrack* track) {
  std::string areas;
  std::string flags;
  FlagRows rows(parts.axis);
  for (const NumberedFinding& each : parts.findings) {
    if (!is_in_lane(each, track) || !each.place) continue;
    const std::string_view hatch = hatch_of(*each.finding);
    for (const Stretch& stretch : each.finding->stretches)
      areas += fmt::format("<i class=\"area {}\"{}></i>", hatch, style_at(parts.axis, stretch));
    if (each.finding->code == "seam" || each.finding->code == "mix-seam")
      areas += "<i class=\"seam\"" + style_at(parts.axis, each.place->line_from_s) + "></i>";
    flags += flag(parts, each, rows);
  }
  return areas + flags;
}

std::string lane_html(const PageParts& parts, const Lane& lane, std::size_t number) {
  const WavePaths paths = lane.heard == nullptr
                              ? WavePaths{}
                              : wave_paths(lane.heard->envelope, lane.spans, parts.axis, kColumns);
  return fmt::format(
      "<div class=\"lane {}\"><div class=\"who\" title=\"{}\">{}<span "
      "class=\"words\">{}</span></div>"
      "<div class=\"plot\" data-lane=\"{}\"><div class=\"over under\">{}</div>"
      "<svg viewBox=\"0 0 {:.0f} 100\" preserveAspectRatio=\"none\" role=\"img\" "
      "aria-label=\"{}\"><path class=\"peaks\" d=\"{}\"/><path class=\"powers\" d=\"{}\"/></svg>"
      "<div class=\"over\">{}</div></div></div>\n",
      lane.kind, escaped(lane.name), name_html(lane.name), lane.words, number,
      runs_html(parts.axis, lane.spans), kAxisUnits,
      escaped(lane.name + ": " + extent_text(lane.spans)),
      paths.peaks.empty() ? "M0 50" : paths.peaks, paths.powers.empty() ? "M0 50" : paths.powers,
      lane.marks);
}

std::string lanes_html(const PageParts& parts, const std::string& lanes, const std::string& band) {
  return "<div class=\"lanes\" id=\"lanes\" tabindex=\"0\" role=\"group\" aria-label=\"Lanes of "
         "all tracks. Plus and minus zoom, arrows move, 0 shows all.\">\n"
         "<div class=\"lane axis\"><div class=\"who\"></div><div class=\"plot\"><div "
         "class=\"over\" id=\"ticks\">" +
         ticks_html(parts) + "</div><div class=\"over\">" + band + "</div></div></div>\n" + lanes +
         "</div>\n";
}

std::string lanes_legend(const PageParts& parts) {
  struct Row {
    const char* kind;
    const char* words;
  };
  constexpr Row kRows[] = {{"voice", "a voice that no track explains"},
                           {"music", "music that no track holds"},
                           {"held", "held back in the mix"},
                           {"leak", "also holds another"},
                           {"other", "a stretch that a finding names"}};
  std::string items = "<li><i class=\"key run\"></i> recorded</li>";
  if (parts.page.stems != nullptr) items += "<li><i class=\"key stems\"></i> in the stems</li>";
  const auto has = [&](std::string_view kind) {
    return std::any_of(
        parts.findings.begin(), parts.findings.end(),
        [&](const NumberedFinding& each) { return hatch_of(*each.finding) == kind; });
  };
  for (const Row& row : kRows)
    if (has(row.kind))
      items += fmt::format("<li><i class=\"key area {}\"></i> {}</li>", row.kind, row.words);
  const auto seam = [](const NumberedFinding& each) {
    return each.finding->code == "seam" || each.finding->code == "mix-seam";
  };
  if (std::any_of(parts.findings.begin(), parts.findings.end(), seam))
    items += "<li><i class=\"key seam\"></i> a seam</li>";
  if (!parts.findings.empty())
    items += "<li><span class=\"flag key\">1</span> the finding of that number</li>";
  return "<ul class=\"legend\">" + items + "</ul>\n";
}

}  // namespace kilter::report

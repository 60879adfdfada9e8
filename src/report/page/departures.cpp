// Offset against time, a drawing for each placed track.
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "departure.h"
#include "kilter/base/clock_text.h"
#include "lineup_words.h"
#include "markup.h"
#include "parts.h"

namespace kilter::report {
namespace {

/// Offsets as heights of a drawing, 100 high.
struct Scale {
  double most_us;
  double height(double offset_us) const {
    return 50.0 - 50.0 * std::clamp(offset_us / most_us, -1.0, 1.0);
  }
};

std::string at(const Axis& axis, const Scale& scale, double line_s, double offset_us) {
  return short_number(axis.unit(line_s), 0) + ' ' + short_number(scale.height(offset_us), 1);
}

std::string curve(const DepartureSection& section, const Axis& axis, const Scale& scale) {
  std::string path;
  for (const DeparturePoint& point : section.points)
    path += (path.empty() ? 'M' : 'L') + at(axis, scale, point.line_s, point.offset_us);
  return path;
}

std::string band(const DepartureSection& section, const Axis& axis, const Scale& scale) {
  std::string path;
  for (const DeparturePoint& point : section.points)
    path += (path.empty() ? 'M' : 'L') +
            at(axis, scale, point.line_s, point.offset_us + point.bound_us);
  for (auto point = section.points.rbegin(); point != section.points.rend(); ++point)
    path += 'L' + at(axis, scale, point->line_s, point->offset_us - point->bound_us);
  return path + 'z';
}

/// Windows of one kind: a dot each and, where they count, a bar of one standard error each way.
struct Dots {
  std::string bars;
  std::string dots;
};

Dots dots_of(const std::vector<DepartureWindow>& windows, double above, double up_to,
             const Axis& axis, const Scale& scale) {
  Dots result;
  for (const DepartureWindow& window : windows) {
    if (window.weight <= above || window.weight > up_to) continue;
    constexpr double kEdge = 3.0;  // those that lie further off stay whole
    const std::string x = short_number(axis.unit(window.line_s), 0);
    const auto y = [&](double offset_us) {
      return short_number(std::clamp(scale.height(offset_us), kEdge, 100.0 - kEdge), 1);
    };
    result.dots += 'M' + x + ' ' + y(window.offset_us) + "h1";
    result.bars += 'M' + x + ' ' + y(window.offset_us - window.sigma_us) + 'V' +
                   y(window.offset_us + window.sigma_us);
  }
  return result;
}

std::string path_html(const char* kind, const std::string& path) {
  return path.empty() ? "" : fmt::format("<path class=\"{}\" d=\"{}\"/>", kind, path);
}

std::string drawing(const std::vector<DepartureSection>& sections,
                    const std::vector<DepartureWindow>& windows, const Axis& axis,
                    const Scale& scale) {
  std::string bands;
  std::string curves;
  for (const DepartureSection& each : sections) {
    bands += band(each, axis, scale);
    curves += curve(each, axis, scale);
  }
  const Dots unused = dots_of(windows, -1.0, 0.0, axis, scale);
  const Dots partly = dots_of(windows, 0.0, 0.5, axis, scale);
  const Dots used = dots_of(windows, 0.5, 2.0, axis, scale);
  return path_html("band", bands) + path_html("errors", partly.bars + used.bars) +
         path_html("unused", unused.dots) + path_html("partly", partly.dots) +
         path_html("used", used.dots) + path_html("curve", curves);
}

std::string signed_time(double seconds) {
  return (seconds < 0.0 ? "&minus;" : "+") + short_time_text(seconds);
}

std::string size_text(double offset_us) {
  return offset_us < 1000.0 ? fmt::format("{:.3g} µs", offset_us)
         : offset_us < 1e6  ? fmt::format("{:.3g} ms", offset_us / 1000.0)
                            : fmt::format("{:.3g} s", offset_us / 1e6);
}

std::string steps_html(const std::vector<DepartureSection>& sections, const Axis& axis) {
  std::string html;
  for (const DepartureSection& each : sections)
    if (each.step_s != 0.0)
      html += "<span class=\"step\"" + style_at(axis, each.points.front().line_s) + "><b>" +
              signed_time(each.step_s) + "</b></span>";
  return html;
}

std::string held_html(const LineupTrack& track, const Axis& axis) {
  std::string html;
  for (const Finding& finding : track.findings)
    if (finding.code == "excursion")
      for (const Stretch& stretch : finding.stretches)
        html += "<i class=\"area held\"" + style_at(axis, stretch) + "></i>";
  return html;
}

std::string words_of(const LineupTrack& track, const std::vector<DepartureSection>& sections,
                     const Scale& scale) {
  std::string words = fmt::format("{:+.2f} ppm, &plusmn;{}", clock_drift_ppm(track),
                                  size_text(track.uncertainty_us));
  if (track.uncertainty_us > scale.most_us) words += " (beyond the drawing)";
  if (track.windows_measured > 0) words += ", windows " + windows_text(track);
  const auto steps = std::count_if(sections.begin(), sections.end(),
                                   [](const DepartureSection& each) { return each.step_s != 0.0; });
  if (steps > 0) words += fmt::format(", {} {}", steps, steps == 1 ? "step" : "steps");
  return words;
}

std::string plot(const PageParts& parts, std::size_t index, std::size_t lane) {
  const LineupTrack& track = parts.page.lineup->tracks[index];
  const auto sections = departure_of(*track.map);
  std::vector<DepartureWindow> windows;
  if (parts.page.heard != nullptr)
    windows = windows_beside(*track.map, sections, parts.page.heard->tracks[index].windows);
  constexpr std::size_t kMany = 200;
  const Scale scale{scale_us(sections, windows)};
  return fmt::format(
      "<div class=\"lane offset\"><div class=\"who\" title=\"{}\">{}<span "
      "class=\"words\">{}</span></div>"
      "<div class=\"plot\" data-lane=\"{}\" data-most=\"{}\"><div class=\"over under\">{}</div>"
      "<svg viewBox=\"0 0 {:.0f} 100\" preserveAspectRatio=\"none\" role=\"img\"{} "
      "aria-label=\"{}\"><path class=\"zero\" d=\"M0 50H{:.0f}\"/>{}</svg>"
      "<div class=\"over\">{}</div><span class=\"high\">+{}</span><span "
      "class=\"low\">&minus;{}</span></div></div>\n",
      escaped(track.name), name_html(track.name), words_of(track, sections, scale), lane,
      short_number(scale.most_us, 3), held_html(track, parts.axis), kAxisUnits,
      windows.size() > kMany ? " class=\"many\"" : "",
      escaped(track.name + ": departure of the map from a straight line, within " +
              size_text(scale.most_us)),
      kAxisUnits, drawing(sections, windows, parts.axis, scale), steps_html(sections, parts.axis),
      size_text(scale.most_us), size_text(scale.most_us));
}

constexpr const char* kLegend = R"(<ul class="legend">
<li><i class="key curve"></i> where the stem puts it</li>
<li><i class="key band"></i> 95 % bound</li>
<li><i class="key dot used"></i> a measured window, with its error</li>
<li><i class="key dot partly"></i> counts by half or less</li>
<li><i class="key dot unused"></i> not used; at the edge: further off</li>
<li><i class="key step"></i> a step, of the size that stands beside it</li>
</ul>
)";

}  // namespace

std::string departure_part(const PageParts& parts) {
  const Lineup& lineup = *parts.page.lineup;
  std::string plots;
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i)
    if (lineup.tracks[i].map) plots += plot(parts, i, i + (lineup.mix ? 1 : 0));
  std::string text =
      "<p>Each track's place on the timeline, less a straight line at its mean drift: up is later. "
      "Steps are written, not drawn, and every stretch between two of them is laid around "
      "zero.</p>\n";
  if (parts.page.heard == nullptr)
    text +=
        "<p class=\"unmeasured\">No sound was measured for this page: there are no windows "
        "here.</p>\n";
  else if (!lineup.mix)
    text +=
        "<p class=\"unmeasured\">Without a mix tracks are measured against each other, pair by "
        "pair: there are no windows to show.</p>\n";
  if (plots.empty()) return "";
  return section(
      "departures", "Offset against time",
      text +
          "<div class=\"lanes\" tabindex=\"0\" role=\"group\" aria-label=\"Offsets of all "
          "tracks. Plus and minus zoom, arrows move, 0 shows all.\">\n" +
          plots + "</div>\n" + kLegend);
}

}  // namespace kilter::report

#include <fmt/format.h>

#include <cmath>

#include "departure.h"
#include "findings_text.h"
#include "kilter/base/clock_text.h"
#include "kilter/report/report_page.h"
#include "lineup_words.h"
#include "markup.h"
#include "null_plot.h"
#include "page_assets.h"
#include "parts.h"
#include "titles.h"
#include "wave.h"

namespace kilter::report {
namespace {

using Json = nlohmann::ordered_json;

/// To the digits that a readout needs.
Json rounded(double value, double per_unit) { return std::round(value * per_unit) / per_unit; }

Json spans_json(const std::vector<Span>& spans) {
  Json list = Json::array();
  for (const Span& span : spans)
    list.push_back({rounded(span.from_s, 1e4), rounded(span.to_s, 1e4),
                    rounded(span.line_from_s, 1e4), rounded(span.line_to_s, 1e4)});
  return list;
}

Json lane_json(const std::string& name, const std::vector<Span>& spans, const HeardTrack* heard) {
  Json lane{{"name", name}, {"spans", spans_json(spans)}};
  if (heard == nullptr || heard->envelope.cells.empty()) return lane;
  const WaveBytes bytes = wave_bytes(heard->envelope);
  lane["cell"] = heard->envelope.cell_s;
  lane["peaks"] = base64(bytes.peaks);
  lane["powers"] = base64(bytes.powers);
  return lane;
}

void add_files(const LineupTrack& track, Json& lane) {
  lane["files"] = Json::array();
  double end_s = 0.0;
  for (const TrackPart& part : track.parts) {
    end_s += static_cast<double>(part.frames) / track.rate_hz;
    lane["files"].push_back({part.file, rounded(end_s, 1e4)});
  }
}

/// The curve and the windows beside it, for readouts.
void add_departure(const LineupTrack& track, const HeardTrack* heard, Json& lane) {
  const auto sections = departure_of(*track.map);
  lane["curve"] = Json::array();
  for (const DepartureSection& each : sections) {
    Json points = Json::array();
    for (const DeparturePoint& point : each.points)
      points.push_back({rounded(point.line_s, 1e3), rounded(point.offset_us, 1e2),
                        rounded(point.bound_us, 1e1)});
    lane["curve"].push_back(std::move(points));
  }
  lane["windows"] = Json::array();
  if (heard == nullptr) return;
  for (const DepartureWindow& window : windows_beside(*track.map, sections, heard->windows))
    lane["windows"].push_back({rounded(window.line_s, 1e2), rounded(window.offset_us, 1e1),
                               rounded(window.sigma_us, 1e1), rounded(window.weight, 1e2)});
}

/// Lies as the mix does, whose lane comes first.
Json null_json(const NullDepth& null) {
  const NullBytes bytes = null_bytes(null);
  return {{"cell", null.cell_s},
          {"rest", base64(bytes.rest)},
          {"mix", base64(bytes.mix)},
          {"deepest", kDeepest_db}};
}

/// A heading for each finding or need, what it says below, and where it is.
struct Item {
  std::string id;
  std::string number;  ///< HTML
  std::string owner;
  std::string title;
  std::string text;
  std::optional<Stretch> place;
  std::string link{};  ///< HTML
};

std::string item_html(const Item& item) {
  std::string place;
  if (item.place)
    place =
        fmt::format(" data-from=\"{}\" data-to=\"{}\"", short_number(item.place->line_from_s, 3),
                    short_number(item.place->line_to_s, 3));
  return "<li id=\"" + item.id + "\"" + place + "><h3>" + item.number +
         (item.owner.empty() ? "" : name_html(item.owner) + ": ") + escaped(item.title) +
         "</h3><p>" + escaped(item.text) + item.link + "</p></li>\n";
}

bool tells_of_a_copy(const Finding& finding) {
  return finding.code == "duplicate" || finding.code == "leak" || finding.code == "mix-copy";
}

std::string list_html(const std::string& items) {
  return items.empty() ? "<p>Nothing.</p>\n" : "<ul class=\"items\">\n" + items + "</ul>\n";
}

std::string id_of(int number, std::size_t index) {
  return number > 0 ? fmt::format("f{}", number) : fmt::format("n{}", index + 1);
}

std::string number_html(int number) {
  return number > 0 ? fmt::format("<span class=\"number\">{}</span> ", number) : std::string();
}

std::string figures(const ReportPage& page) {
  const Lineup& lineup = *page.lineup;
  std::string text = lineup.mix ? "mix " + name_html(lineup.mix->file)
                                : "no mix; on the clock of " + name_html(lineup.timeline_clock);
  return text + fmt::format(" &middot; {} &middot; {:g} Hz &middot; {}",
                            clock_text(lineup.to_s - lineup.from_s), lineup.timeline_rate_hz,
                            counted(lineup.tracks.size(), "track"));
}

std::string header_html(const ReportPage& page) {
  const bool asks = !needs_of(page).empty();
  return "<header><h1>" + name_html(page.lineup->session) + "</h1>\n<p class=\"verdict " +
         (asks ? "asks" : "calm") + "\"><span class=\"sign\" aria-hidden=\"true\">" +
         (asks ? "!" : "&#10003;") + "</span> " + escaped(session_sentence(page)) +
         "</p>\n<p class=\"figures\">" + figures(page) + "</p></header>\n";
}

constexpr const char* kHead =
    "\">\n"
    "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
    "<meta name=\"color-scheme\" content=\"light dark\">\n";

/// Nothing may be fetched, by whatever a name holds, but the clips beside the page.
std::string head_html(const ReportPage& page) {
  const bool listens = page.stems != nullptr && page.stems->clips;
  return std::string(
             "<meta charset=\"utf-8\">\n<meta http-equiv=\"Content-Security-Policy\" "
             "content=\"default-src 'none'; style-src 'unsafe-inline'; script-src "
             "'unsafe-inline'") +
         (listens ? "; media-src 'self' file:" : "") + kHead;
}

/// Goes with all drawings.
constexpr const char* kBar = R"html(<div class="bar" id="bar" hidden>
<div class="buttons" role="group" aria-label="What the drawings show">
<button type="button" data-do="out" aria-label="show more time" title="show more (-)">&minus;</button>
<button type="button" data-do="in" aria-label="show less time, larger" title="show less, larger (+)">+</button>
<button type="button" data-do="left" aria-label="earlier" title="earlier (arrow left)">&larr;</button>
<button type="button" data-do="right" aria-label="later" title="later (arrow right)">&rarr;</button>
<button type="button" data-do="all" title="the whole session (0)">all</button>
</div>
<span id="range" aria-live="polite"></span>
<div class="strip" id="strip" aria-hidden="true"><i id="thumb"></i></div>
<p class="readout" id="readout"></p>
</div>
)html";

/// What has one axis of time, moved and enlarged together.
std::string drawings_part(const PageParts& parts) {
  return std::string("<div id=\"drawings\">\n") + kBar + timeline_part(parts) + null_part(parts) +
         departure_part(parts) + "</div>\n";
}

}  // namespace

std::string section(const std::string& id, const std::string& heading, const std::string& content) {
  return "<section id=\"" + id + "\" aria-labelledby=\"" + id + "-heading\"><h2 id=\"" + id +
         "-heading\">" + heading + "</h2>\n" + content + "</section>\n";
}

std::string table(const std::string& caption, const std::vector<std::string>& head,
                  const std::vector<std::vector<std::string>>& rows) {
  std::string html = "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"" + caption +
                     "\"><table><caption>" + caption + "</caption><thead><tr>";
  for (const std::string& cell : head) html += "<th scope=\"col\">" + cell + "</th>";
  html += "</tr></thead><tbody>\n";
  for (const auto& row : rows) {
    html += "<tr><th scope=\"row\">" + row.front() + "</th>";
    for (std::size_t i = 1; i < row.size(); ++i) html += "<td>" + row[i] + "</td>";
    html += "</tr>\n";
  }
  return html + "</tbody></table></div>\n";
}

std::string number_links(const PageParts& parts, const LineupTrack* track) {
  std::string html;
  for (const NumberedFinding& each : parts.findings) {
    const bool is_its = track != nullptr ? each.track == track : each.owner == Owner::mix;
    if (!is_its) continue;
    html += fmt::format("{}<a href=\"#f{}\" title=\"{}\">{}</a>", html.empty() ? "" : " ",
                        each.number, escaped(title_of(*each.finding)), each.number);
  }
  return html;
}

std::string standing_html(const LineupTrack& track) {
  const std::string word = standing_text(track);
  const char* shape = word == "firm" ? "&#9679;" : word == "shaky" ? "&#9680;" : "&#9675;";
  return fmt::format("<span class=\"standing {}\"><span aria-hidden=\"true\">{}</span> {}</span>",
                     word == "left out" ? "left" : word, shape, word);
}

std::string needs_part(const PageParts& parts) {
  const auto needs = needs_of(parts.page);
  if (needs.empty()) return "";
  std::string items;
  for (std::size_t i = 0; i < needs.size(); ++i)
    items +=
        item_html({id_of(needs[i].number, i), number_html(needs[i].number), needs[i].owner,
                   needs[i].title, needs[i].text, needs[i].place, listen_link(parts, needs[i])});
  return section("needs", "What needs a person",
                 "<ul class=\"items needs\">\n" + items + "</ul>\n");
}

std::string findings_part(const PageParts& parts) {
  std::string copies;
  std::string others;
  for (const NumberedFinding& each : parts.findings) {
    if (each.needs_person) continue;
    (tells_of_a_copy(*each.finding) ? copies : others) += item_html(
        {id_of(each.number, 0), number_html(each.number), owner_name(each, *parts.page.lineup),
         title_of(*each.finding), each.finding->text, each.place});
  }
  return section("copies", "Copies and leaks", list_html(copies)) +
         section("findings", "Also good to know", list_html(others));
}

std::string script_data(const PageParts& parts) {
  const Lineup& lineup = *parts.page.lineup;
  const Heard* heard = parts.page.heard;
  Json lanes = Json::array();
  if (lineup.mix)
    lanes.push_back(
        lane_json(lineup.mix->file, lineup.mix->spans, heard == nullptr ? nullptr : &heard->mix));
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i) {
    const LineupTrack& track = lineup.tracks[i];
    const HeardTrack* own = heard == nullptr ? nullptr : &heard->tracks[i];
    std::vector<Span> spans;
    if (track.map) spans.assign(track.map->spans().begin(), track.map->spans().end());
    Json& lane = lanes.emplace_back(lane_json(track.name, spans, own));
    add_files(track, lane);
    if (track.map) add_departure(track, own, lane);
  }
  Json data{{"from", parts.axis.from_s},
            {"to", parts.axis.to_s},
            {"units", kAxisUnits},
            {"lanes", std::move(lanes)}};
  if (lineup.mix && heard != nullptr && !heard->moved_since && !heard->null.cells.empty())
    data["null"] = null_json(heard->null);
  return script_json(data);
}

std::string report_html(const ReportPage& page) {
  const PageParts parts{page, axis_of(*page.lineup), numbered(*page.lineup)};
  std::string html = "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n";
  html += head_html(page);
  html += "<meta name=\"generator\" content=\"" + escaped(page.version) + "\">\n<title>" +
          escaped(page.lineup->session) + ": report</title>\n<style>\n";
  html += kPageStyle;
  html += "</style>\n</head>\n<body>\n" + header_html(page) + "<main>\n";
  for (const auto part : {needs_part, drawings_part, listen_part, placing_part, clocks_part,
                          levels_part, findings_part, stems_part, record_part})
    html += part(parts);
  html += "</main>\n<script type=\"application/json\" id=\"data\">" + script_data(parts) +
          "</script>\n<script>\n";
  html += kPageScript;
  return html + "</script>\n</body>\n</html>\n";
}

}  // namespace kilter::report

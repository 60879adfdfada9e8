#include <fmt/format.h>

#include <map>
#include <utility>

#include "findings_text.h"
#include "kilter/base/clock_text.h"
#include "kilter/report/report_page.h"
#include "lineup_words.h"
#include "markup.h"
#include "parts.h"
#include "shell.h"
#include "titles.h"

namespace kilter::report {
namespace {

/// A heading for each finding or need, what it says below, and where it is.
struct Item {
  std::string id;
  std::string number;  ///< HTML
  std::vector<std::string> owners;
  std::string title;
  std::string text;
  std::optional<Stretch> place;
  std::string link{};  ///< HTML
};

std::string owners_html(const std::vector<std::string>& owners) {
  std::string html;
  for (const std::string& owner : owners) html += (html.empty() ? "" : ", ") + name_html(owner);
  return html.empty() ? html : html + ": ";
}

std::string item_html(const Item& item) {
  std::string place;
  if (item.place)
    place =
        fmt::format(" data-from=\"{}\" data-to=\"{}\"", short_number(item.place->line_from_s, 3),
                    short_number(item.place->line_to_s, 3));
  return "<li id=\"" + item.id + "\"" + place + "><h3>" + item.number + owners_html(item.owners) +
         escaped(item.title) + "</h3><p>" + escaped(item.text) + item.link + "</p></li>\n";
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

std::string drawings_part(const PageParts& parts) {
  return drawings_html(timeline_part(parts) + null_part(parts) + departure_part(parts));
}

}  // namespace

std::string number_links(const PageParts& parts, const LineupTrack* track) {
  std::map<int, std::string> titles;
  for (const NumberedFinding& each : parts.findings)
    if (track != nullptr ? each.track == track : each.owner == Owner::mix)
      titles.try_emplace(each.number, title_of(*each.finding));
  std::string html;
  for (const auto& [number, title] : titles)
    html += fmt::format("{}<a href=\"#f{}\" title=\"{}\">{}</a>", html.empty() ? "" : " ", number,
                        escaped(title), number);
  return html;
}

std::string standing_html(const LineupTrack& track) {
  const std::string word = standing_text(track);
  const char* shape = word == "firm" ? "&#9679;" : word == "shaky" ? "&#9680;" : "&#9675;";
  return fmt::format("<span class=\"standing {}\"><span aria-hidden=\"true\">{}</span> {}</span>",
                     word == "left out" ? "left" : word, shape, word);
}

std::string needs_part(const PageParts& parts) {
  if (parts.needs.empty()) return "";
  std::string items;
  for (std::size_t i = 0; i < parts.needs.size(); ++i) {
    const Need& need = parts.needs[i];
    items += item_html({id_of(need.number, i), number_html(need.number), need.owners, need.title,
                        need.text, need.place, listen_link(parts, need)});
  }
  return section("needs", "What needs a person",
                 "<ul class=\"items needs\">\n" + items + "</ul>\n");
}

std::string findings_part(const PageParts& parts) {
  std::string copies;
  std::string others;
  for (const NumberedFinding& each : parts.findings) {
    if (each.needs_person || !each.is_first) continue;
    (tells_of_a_copy(*each.finding) ? copies : others) +=
        item_html({id_of(each.number, 0), number_html(each.number), each.owners,
                   title_of(*each.finding), each.text, each.place});
  }
  return (copies.empty() ? "" : section("copies", "Copies and leaks", list_html(copies))) +
         section("findings", "Also good to know", list_html(others));
}

std::string report_html(const ReportPage& page) {
  const PageParts parts{page, axis_of(*page.lineup), numbered(*page.lineup), needs_of(page)};
  std::string html;
  for (const auto part : {needs_part, drawings_part, listen_part, placing_part, clocks_part,
                          stems_part, levels_part, findings_part, record_part})
    html += part(parts);
  return document_html({"report", page.lineup->session, session_sentence(page),
                        !parts.needs.empty(), figures(page), std::move(html), script_data(parts),
                        page.version, page.stems != nullptr && page.stems->clips});
}

}  // namespace kilter::report

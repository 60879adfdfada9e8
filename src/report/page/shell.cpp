#include "shell.h"

#include "markup.h"
#include "page_assets.h"
#include "parts.h"

namespace kilter::report {
namespace {

constexpr const char* kHead =
    "\">\n"
    "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
    "<meta name=\"color-scheme\" content=\"light dark\">\n";

/// Nothing may be fetched, by whatever a name holds, but the clips beside the page.
std::string head_html(bool plays) {
  return std::string(
             "<meta charset=\"utf-8\">\n<meta http-equiv=\"Content-Security-Policy\" "
             "content=\"default-src 'none'; style-src 'unsafe-inline'; script-src "
             "'unsafe-inline'") +
         (plays ? "; media-src 'self' file:" : "") + kHead;
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

std::string header_html(const Document& page) {
  return "<header><h1>" + name_html(page.session) + "</h1>\n<p class=\"verdict " +
         (page.asks ? "asks" : "calm") + "\"><span class=\"sign\" aria-hidden=\"true\">" +
         (page.asks ? "!" : "&#10003;") + "</span> " + escaped(page.sentence) +
         "</p>\n<p class=\"figures\">" + page.figures + "</p></header>\n";
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

std::string drawings_html(const std::string& sections) {
  return std::string("<div id=\"drawings\">\n") + kBar + sections + "</div>\n";
}

std::string document_html(const Document& page) {
  std::string html = "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n";
  html += head_html(page.plays);
  html += "<meta name=\"generator\" content=\"" + escaped(page.version) + "\">\n<title>" +
          escaped(page.session) + ": " + page.kind + "</title>\n<style>\n";
  html += kPageStyle;
  html += "</style>\n</head>\n<body>\n" + header_html(page) + "<main>\n" + page.main;
  html += "</main>\n<script type=\"application/json\" id=\"data\">" + page.data +
          "</script>\n<script>\n";
  html += kPageScript;
  return html + "</script>\n</body>\n</html>\n";
}

}  // namespace kilter::report

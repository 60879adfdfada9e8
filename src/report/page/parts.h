// The parts of the page, in the order in which they stand. Each is a fragment of HTML.
#pragma once

#include <string>
#include <vector>

#include "axis.h"
#include "kilter/report/report_page.h"
#include "numbered.h"

namespace kilter::report {

/// What all parts draw from.
struct PageParts {
  const ReportPage& page;
  Axis axis;
  std::vector<NumberedFinding> findings;
  std::vector<Need> needs;
  bool placed{true};  ///< off: recordings of a survey, each from its own beginning
};

/// A section with its heading; `id` is a plain word.
std::string section(const std::string& id, const std::string& heading, const std::string& content);
/// A table that may be wider than the screen. Cells are HTML; `head` too.
std::string table(const std::string& caption, const std::vector<std::string>& head,
                  const std::vector<std::vector<std::string>>& rows);
/// Links to findings of a track, or of the mix (nullptr).
std::string number_links(const PageParts& parts, const LineupTrack* track);
/// Where spans lie, below a drawing: runs without a gap.
std::string runs_html(const Axis& axis, const std::vector<Span>& spans);
/// A mark of the standing, in shape and word.
std::string standing_html(const LineupTrack& track);

std::string needs_part(const PageParts& parts);
/// The listening clips; nothing where none were asked for.
std::string listen_part(const PageParts& parts);
/// A link to the clip in which a need is heard, or to those of its track; empty without any.
std::string listen_link(const PageParts& parts, const Need& need);
std::string timeline_part(const PageParts& parts);
/// Nothing without a mix.
std::string null_part(const PageParts& parts);
std::string departure_part(const PageParts& parts);
std::string placing_part(const PageParts& parts);
std::string clocks_part(const PageParts& parts);
std::string levels_part(const PageParts& parts);
/// Everything that was found and needs nobody.
std::string findings_part(const PageParts& parts);
std::string stems_part(const PageParts& parts);
std::string record_part(const PageParts& parts);

/// What the script draws from: JSON.
std::string script_data(const PageParts& parts);

}  // namespace kilter::report

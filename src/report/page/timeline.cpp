// Every track as a lane under the mix, on one axis of time.
#include "kilter/base/clock_text.h"
#include "lane.h"
#include "lineup_words.h"
#include "markup.h"
#include "parts.h"

namespace kilter::report {
namespace {

std::string track_words(const PageParts& parts, const LineupTrack& track) {
  constexpr const char* kBetween = " &middot; ";
  std::string words = standing_html(track);
  if (!track.recorder.empty())
    words.append(kBetween).append("clock ").append(name_html(track.recorder));
  if (const std::string word = row_word(track); !word.empty())
    words.append(kBetween).append(name_html(word));
  if (const std::string links = number_links(parts, &track); !links.empty())
    words.append(kBetween).append(links);
  return words;
}

std::vector<Lane> lanes_of(const PageParts& parts) {
  const Lineup& lineup = *parts.page.lineup;
  const Heard* heard = parts.page.heard;
  std::vector<Lane> lanes;
  if (lineup.mix)
    lanes.push_back({lineup.mix->file, "the mix " + number_links(parts, nullptr),
                     heard == nullptr ? nullptr : &heard->mix, lineup.mix->spans,
                     lane_marks(parts, nullptr), "mix"});
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i) {
    const LineupTrack& track = lineup.tracks[i];
    std::vector<Span> spans;
    if (track.map) spans.assign(track.map->spans().begin(), track.map->spans().end());
    lanes.push_back({track.name, track_words(parts, track),
                     heard == nullptr ? nullptr : &heard->tracks[i], std::move(spans),
                     lane_marks(parts, &track), to_text(track.standing)});
  }
  return lanes;
}

std::string stems_band(const PageParts& parts) {
  if (parts.page.stems == nullptr) return "";
  const conform::ConformReport& stems = *parts.page.stems;
  const Stretch band{stems.from_s, stems.from_s + stems.length_s()};
  return "<i class=\"stems\" title=\"what the stems hold\"" + style_at(parts.axis, band) + "></i>";
}

}  // namespace

std::string timeline_part(const PageParts& parts) {
  std::string lanes;
  std::size_t number = 0;
  for (const Lane& lane : lanes_of(parts)) lanes += lane_html(parts, lane, number++);
  std::string note;
  if (parts.page.heard == nullptr)
    note =
        "<p class=\"unmeasured\">The lineup was given, so no sound was measured: there are no "
        "outlines of the sound.</p>\n";
  return section("timeline", "The session in time",
                 note + lanes_html(parts, lanes, stems_band(parts)) + lanes_legend(parts));
}

}  // namespace kilter::report

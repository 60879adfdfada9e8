// The listening clips, with a player each.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "findings_text.h"
#include "kilter/base/clock_text.h"
#include "markup.h"
#include "parts.h"

namespace kilter::report {
namespace {

const conform::ListeningClips* clips_of(const PageParts& parts) {
  const conform::ConformReport* stems = parts.page.stems;
  return stems != nullptr && stems->clips ? &*stems->clips : nullptr;
}

std::string clip_html(const conform::Clip& clip, std::size_t index, const std::string& track) {
  const std::string address = "listen/" + url_text(clip.file.generic_string());
  const std::string place = clock_text(clip.at_s, 0);
  return fmt::format(
      "<li id=\"c{}\" data-from=\"{}\" data-to=\"{}\"><p><b>{}</b> {}</p><audio controls "
      "preload=\"none\" src=\"{}\" aria-label=\"{}\"></audio><a href=\"{}\">{}</a></li>\n",
      index + 1, short_number(clip.from_s, 3), short_number(clip.from_s + clip.length_s, 3), place,
      escaped(clip.words), address, escaped(track + ", " + place + ", " + clip.words), address,
      name_html(clip.file.generic_string()));
}

/// Of one track, with a heading; empty where it has none.
std::string track_html(const PageParts& parts, const conform::ListeningClips& clips,
                       std::size_t track) {
  const LineupTrack& row = parts.page.lineup->tracks[track];
  std::string items;
  for (std::size_t i = 0; i < clips.clips.size(); ++i)
    if (clips.clips[i].track == track) items += clip_html(clips.clips[i], i, row.name);
  if (items.empty()) return "";
  std::string more;
  for (const conform::SeamsLeftOut& left : clips.left_out)
    if (left.track == track)
      more = fmt::format("<p>{} with smaller steps {} no clip.</p>\n",
                         counted(static_cast<std::size_t>(left.count), "more seam"),
                         left.count == 1 ? "has" : "have");
  return fmt::format("<h3 id=\"t{}\">{} {}</h3>\n<ul class=\"clips\">\n{}</ul>\n{}", track + 1,
                     name_html(row.name), standing_html(row), items, more);
}

/// The first clip in which the place is heard, of the track or of any.
std::optional<std::size_t> clip_at(const conform::ListeningClips& clips, double line_s,
                                   std::optional<std::size_t> track) {
  for (std::size_t i = 0; i < clips.clips.size(); ++i) {
    const conform::Clip& clip = clips.clips[i];
    if ((!track || clip.track == *track) && clip.from_s <= line_s &&
        line_s <= clip.from_s + clip.length_s)
      return i;
  }
  return std::nullopt;
}

}  // namespace

std::string listen_part(const PageParts& parts) {
  const conform::ListeningClips* clips = clips_of(parts);
  if (clips == nullptr) return "";
  std::string content =
      "<p>The mix is on the left, the stem on the right, equally loud where they speak. Put on "
      "headphones: a voice that sits in the middle is in step; one that leans to a side, or comes "
      "twice, is not. Whoever else speaks is heard on the left alone. The page must stay beside "
      "its "
      "folder <code>listen</code>.</p>\n";
  if (parts.page.heard == nullptr)
    content +=
        "<p class=\"unmeasured\">The lineup was given, so no sound was measured: there are no "
        "clips "
        "of the worst residuals, and the weakest evidence is where the lineup states the widest "
        "bound.</p>\n";
  std::string tracks;
  for (std::size_t i = 0; i < parts.page.lineup->tracks.size(); ++i)
    tracks += track_html(parts, *clips, i);
  return section("listen", "Listen", content + (tracks.empty() ? "<p>No clip.</p>\n" : tracks));
}

std::string listen_link(const PageParts& parts, const Need& need) {
  const conform::ListeningClips* clips = clips_of(parts);
  if (clips == nullptr) return "";
  const auto& tracks = parts.page.lineup->tracks;
  const auto owner = std::find_if(tracks.begin(), tracks.end(), [&](const LineupTrack& track) {
    return !need.owners.empty() && track.name == need.owners.front();
  });
  std::optional<std::size_t> track;
  if (owner != tracks.end()) track = static_cast<std::size_t>(owner - tracks.begin());
  if (need.place)
    if (const auto clip = clip_at(*clips, need.place->line_from_s, track))
      return fmt::format(" <a href=\"#c{}\">Listen to it</a>", *clip + 1);
  if (track && std::any_of(clips->clips.begin(), clips->clips.end(),
                           [&](const conform::Clip& clip) { return clip.track == *track; }))
    return fmt::format(" <a href=\"#t{}\">Listen to clips of it</a>", *track + 1);
  return "";
}

}  // namespace kilter::report

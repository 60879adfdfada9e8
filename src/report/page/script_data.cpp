// What the script draws from.
#include <cmath>

#include "departure.h"
#include "markup.h"
#include "null_plot.h"
#include "parts.h"
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

}  // namespace

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
    if (track.map && parts.placed) add_departure(track, own, lane);
  }
  Json data{{"from", parts.axis.from_s},
            {"to", parts.axis.to_s},
            {"units", kAxisUnits},
            {"lanes", std::move(lanes)}};
  if (lineup.mix && heard != nullptr && !heard->moved_since && !heard->null.cells.empty())
    data["null"] = null_json(heard->null);
  return script_json(data);
}

}  // namespace kilter::report

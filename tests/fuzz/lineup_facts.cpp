#include "lineup_facts.h"

#include <bit>
#include <cstdint>

namespace kilter::fuzz {
namespace {

class Facts {
 public:
  std::string text;

  void add(std::int64_t number) { text += std::to_string(number) + ' '; }
  void add(double number) { add(std::bit_cast<std::int64_t>(number)); }
  void add(const std::string& words) {
    add(std::ssize(words));  // so that no two texts can be taken for another two
    text += words;
  }
  template <typename Value>
  void add(const std::optional<Value>& value) {
    text += value ? "is " : "none ";
    if (value) add(*value);
  }
  template <typename Values>
  void add_all(const Values& values) {
    add(std::ssize(values));
    for (const auto& value : values) add(value);
  }

  void add(const Stretch& stretch) {
    add(stretch.line_from_s);
    add(stretch.line_to_s);
  }
  void add(const Span& span) {
    for (const double number :
         {span.from_s, span.to_s, span.line_from_s, span.line_to_s, span.uncertainty_us})
      add(number);
  }
  void add(const Finding& finding) {
    add(finding.code);
    add(finding.text);
    for (const auto& number : {finding.at_s, finding.line_s, finding.step_s, finding.rate_hz})
      add(number);
    add(finding.cause);
    add_all(finding.stretches);
  }
  void add(const TrackPart& part) {
    add(part.file);
    add(std::int64_t{part.channel});
    add(part.frames);
  }
  void add(const LineupTrack& track) {
    for (const std::string& words : {track.name, track.recorder, track.voice}) add(words);
    add_all(track.parts);
    add(track.rate_hz);
    add(std::string(to_text(track.role)) + to_text(track.standing));
    add(std::int64_t{track.inverted});
    if (track.map) add_all(track.map->spans());
    add(track.uncertainty_us);
    add(std::int64_t{track.windows_measured});
    add(std::int64_t{track.windows_used});
    add_all(track.findings);
  }
  void add(const LineupMix& mix) {
    add(mix.file);
    add(mix.rate_hz);
    add(mix.frames);
    add_all(mix.spans);
    add_all(mix.findings);
  }
  void add(const StemMark& stem) {
    add(stem.file);
    add(std::bit_cast<std::int64_t>(stem.digest));
  }
};

}  // namespace

std::string facts_of(const Lineup& lineup) {
  Facts facts;
  facts.add(lineup.session);
  facts.add(lineup.timeline_clock);
  for (const double number : {lineup.timeline_rate_hz, lineup.from_s, lineup.to_s})
    facts.add(number);
  facts.add(lineup.mix);
  facts.add_all(lineup.tracks);
  facts.add_all(lineup.findings);
  facts.add_all(lineup.stems);
  return facts.text;
}

}  // namespace kilter::fuzz

#include "check_phrases.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "check_folder.h"
#include "check_verdicts.h"
#include "check_words.h"
#include "kilter/base/clock_text.h"

namespace kilter::commands {

using report::CheckedStem;
using report::Verdict;
using sync::Phrase;

namespace {

constexpr double kPhraseFloor_s = 50e-6;  // what a codec or a room adds to a phrase
constexpr double kTwoSigma = 2.0;
constexpr double kOneSlip_s = 0.5e-3;  // by which phrases of one slip may differ
constexpr double kInPlace_s = 0.3e-3;
constexpr double kThroughTheRoom_s = 0.030;  // sound goes ten metres in it
constexpr double kFaint_db = 4.0;            // below the track's usual phrase
constexpr double kLeastSlip_s = 0.75;        // of talk
constexpr double kLeastUnheard_s = 1.5;
constexpr double kAround_s = 3.0;
constexpr std::size_t kMostTold = 4;

double usual_level_db(const std::vector<Phrase>& phrases) {
  std::vector<double> levels;
  for (const Phrase& phrase : phrases) levels.push_back(phrase.level_db);
  const auto middle = levels.begin() + std::ssize(levels) / 2;
  std::nth_element(levels.begin(), middle, levels.end());
  return *middle;
}

std::string stem_of(const std::string& file) { return std::filesystem::path(file).stem().string(); }

/// What was written down of the track's file; nothing where that is not known.
const StemMark* mark_of(const Lineup& left, const survey::Survey& survey,
                        const survey::SurveyTrack& track) {
  const std::string name = stem_of(survey.files[track.file].name);
  const auto mark = std::find_if(left.stems.begin(), left.stems.end(),
                                 [&](const StemMark& each) { return stem_of(each.file) == name; });
  return mark == left.stems.end() ? nullptr : &*mark;
}

bool is_by_the_room(double late_s) { return late_s > kInPlace_s && late_s < kThroughTheRoom_s; }

bool overlap(double from_s, double to_s, double other_from_s, double other_to_s) {
  return from_s < other_to_s && to_s > other_from_s;
}

bool any_within(const std::vector<Stretch>& stretches, double from_s, double to_s,
                double around_s) {
  return std::any_of(stretches.begin(), stretches.end(), [&](const Stretch& each) {
    return overlap(from_s, to_s, each.line_from_s - around_s, each.line_to_s + around_s);
  });
}

std::string places(const std::vector<Slip>& slips) {
  std::string text;
  for (std::size_t i = 0; i < slips.size() && i < kMostTold; ++i)
    text +=
        fmt::format("{}{} {} ({:.1f} s of talk)", i == 0 ? "" : ", ", late_text(slips[i].late_s),
                    stretch_text(slips[i].from_s, slips[i].to_s, 1), slips[i].talk_s);
  if (slips.size() > kMostTold) text += fmt::format(" and {} times more", slips.size() - kMostTold);
  return text;
}

const Slip& furthest(const std::vector<Slip>& slips) {
  return *std::max_element(slips.begin(), slips.end(), [](const Slip& a, const Slip& b) {
    return std::abs(a.late_s) < std::abs(b.late_s);
  });
}

/// Whether it may be another's person, whom this one's microphone hears across the room.
bool may_be_anothers(const Slip& slip, const StemFacts& facts) {
  const bool anybody_is_off = !facts.has_lineup || !facts.others_in_place;
  return slip.by_the_room &&
         (slip.beside_mute || !facts.others_sound || (slip.is_faint && anybody_is_off));
}

void fail(const std::vector<Slip>& slips, const StemFacts& facts, CheckedStem& stem) {
  const Slip& worst = furthest(slips);
  stem.verdict = Verdict::beyond;
  stem.worst_s = worst.late_s;
  stem.worst_at_s = worst.from_s;
  stem.uncertainty_us = 1e6 * kTwoSigma * worst.sigma_s;
  // What the windows took for a stream's doing is this.
  const auto is_here = [&](const Finding& each) {
    return each.code == "excursion" && each.line_s &&
           std::any_of(slips.begin(), slips.end(), [&](const Slip& slip) {
             return *each.line_s > slip.from_s - kAround_s && *each.line_s < slip.to_s + kAround_s;
           });
  };
  std::erase_if(stem.findings,
                [&](const Finding& each) { return each.code == "no-evidence" || is_here(each); });
  std::string text = "It stands " + places(slips) + " against the mix, and elsewhere does not.";
  if (!facts.in_room)
    text += " It is not as it was written, and where it was aligned no stream held it back there.";
  stem.findings.push_back(check_finding(
      "misaligned", text + " Conform the session again, or move that stretch.", worst.from_s));
}

void note(const std::vector<Slip>& slips, const StemFacts& facts, CheckedStem& stem) {
  std::string text = "It stands " + places(slips) + " against the mix, and elsewhere does not: ";
  if (std::all_of(slips.begin(), slips.end(),
                  [&](const Slip& each) { return may_be_anothers(each, facts); }))
    text += "it may be somebody else who talks there, heard across the room. Listen there.";
  else if (facts.has_lineup && !facts.changed)
    text +=
        "it is as it was written, so a network stream has done that to the mix, or aligning "
        "missed a cut in the recording. Listen there.";
  else
    text +=
        "a network stream does that to a mix, and so does a sentence that slipped. Listen "
        "there.";
  stem.findings.push_back(check_finding("excursion", std::move(text), slips.front().from_s));
}

/// Talk in a row that the mix does not hold.
std::vector<Slip> unheard_of(const std::vector<Phrase>& phrases) {
  std::vector<Slip> places;
  for (std::size_t i = 0; i < phrases.size(); ++i) {
    if (phrases[i].heard) continue;
    Slip place;
    place.from_s = phrases[i].from_s;
    for (; i < phrases.size() && !phrases[i].heard; ++i) {
      place.talk_s += phrases[i].length_s();
      place.to_s = phrases[i].to_s;
    }
    if (place.talk_s >= kLeastUnheard_s) places.push_back(place);
  }
  return places;
}

void tell_unheard(const std::vector<Phrase>& phrases, CheckedStem& stem) {
  const std::vector<Slip> places = unheard_of(phrases);
  if (places.empty()) return;
  double all_s = 0.0;
  for (const Slip& place : places) all_s += place.talk_s;
  stem.findings.push_back(check_finding(
      "unheard",
      fmt::format("Not confirmed: {} that it says, {}from {} to {}, the mix does not hold there or "
                  "near. Listen there: it may be out of place, or left out of the mix.",
                  clock_text(all_s, 1),
                  places.size() == 1 ? "" : fmt::format("in {} places, the first ", places.size()),
                  clock_text(places.front().from_s, 1), clock_text(places.front().to_s, 1)),
      places.front().from_s));
}

void tell_missing(const std::vector<Stretch>& missing, const StemFacts& facts, CheckedStem& stem) {
  double all_s = 0.0;
  std::vector<Stretch> told;
  for (const Stretch& each : missing) {
    if (any_within(facts.not_placed, each.line_from_s, each.line_to_s, 0.0)) continue;
    all_s += each.line_to_s - each.line_from_s;
    told.push_back(each);
  }
  constexpr double kLeast_s = 2.0;
  if (all_s < kLeast_s) return;
  const std::string where = fmt::format(
      "It is digital silence where somebody talks whom the other microphones hear from "
      "across the room only, {} in all between {} and {}",
      clock_text(all_s, 1), clock_text(told.front().line_from_s, 0),
      clock_text(told.back().line_to_s, 0));
  if (facts.has_lineup && facts.changed)
    stem.findings.push_back(check_finding(
        "emptied",
        where + ", and it is not as it was written. Put that stretch back, or conform the session "
                "again.",
        told.front().line_from_s));
  else
    stem.findings.push_back(check_finding(
        "muted", where + ": its own person may be missing. Listen there, and to the recording.",
        told.front().line_from_s));
}

}  // namespace

bool has_a_hole(const StemFacts& facts, double length_s) {
  return std::any_of(facts.not_placed.begin(), facts.not_placed.end(), [&](const Stretch& each) {
    return each.line_from_s > 0.0 && each.line_to_s < length_s;
  });
}

StemFacts facts_of(const std::optional<Lineup>& left, const survey::Survey& survey,
                   const survey::SurveyTrack& track) {
  StemFacts facts;
  const StemMark* const mark = left ? mark_of(*left, survey, track) : nullptr;
  if (mark == nullptr) return facts;
  const std::string name = stem_of(mark->file);
  facts.has_lineup = true;
  facts.changed = track.digest != mark->digest;
  for (const survey::SurveyTrack& other : survey.tracks) {
    const StemMark* const others = mark_of(*left, survey, other);
    const bool is_mix = survey.mix && survey.mix->file == other.file;
    if (!is_mix && others != nullptr && others != mark && other.digest == others->digest)
      facts.others_unchanged = true;
  }
  const double length_s = left->to_s - left->from_s;
  std::vector<Stretch> placed;
  for (const LineupTrack& each : left->tracks) {
    if (!each.map || (each.voice.empty() ? each.name : each.voice) != name) continue;
    for (const Span& span : each.map->spans())
      placed.push_back({span.line_from_s - left->from_s, span.line_to_s - left->from_s});
    for (const Finding& finding : each.findings)
      if (finding.code == "excursion")
        for (const Stretch& stretch : finding.stretches)
          facts.held_back.push_back(
              {stretch.line_from_s - left->from_s, stretch.line_to_s - left->from_s});
  }
  facts.not_placed = gaps_between(std::move(placed), length_s);
  return facts;
}

bool has_all_stems(const Lineup& left, const survey::Survey& survey) {
  return std::all_of(left.stems.begin(), left.stems.end(), [&](const StemMark& mark) {
    return std::any_of(survey.files.begin(), survey.files.end(),
                       [&](const auto& file) { return stem_of(file.name) == stem_of(mark.file); });
  });
}

bool is_in_place(const std::vector<Phrase>& phrases, double limit_s) {
  return slips_of(phrases, limit_s).empty() && unheard_of(phrases).empty();
}

std::vector<sync::ResidualWindow> with_phrases(const std::vector<sync::ResidualWindow>& windows,
                                               const std::vector<Phrase>& phrases) {
  constexpr double kHalfWindow_s = 3.0;
  std::vector<sync::ResidualWindow> merged;
  const auto within = [&](const sync::ResidualWindow& window, const Phrase& phrase) {
    return overlap(phrase.from_s, phrase.to_s, window.line_s - kHalfWindow_s,
                   window.line_s + kHalfWindow_s);
  };
  const auto any_phrase = [&](const sync::ResidualWindow& window, const auto& is_so) {
    return std::any_of(phrases.begin(), phrases.end(), [&](const Phrase& phrase) {
      return within(window, phrase) && is_so(phrase);
    });
  };
  for (const auto& window : windows) {
    const bool tells =
        window.clear ? !is_by_the_room(window.late_s) ||
                           any_phrase(window,
                                      [&](const Phrase& each) {
                                        return each.heard &&
                                               std::abs(each.late_s - window.late_s) < kOneSlip_s;
                                      })
                     : any_phrase(window, [](const Phrase& each) { return !each.heard; });
    if (tells) merged.push_back(window);
  }
  const auto count = static_cast<std::ptrdiff_t>(merged.size());
  for (const Phrase& phrase : phrases)
    if (phrase.heard && std::none_of(merged.begin(), merged.begin() + count,
                                     [&](const auto& window) { return within(window, phrase); }))
      merged.push_back({0.5 * (phrase.from_s + phrase.to_s), phrase.late_s,
                        std::hypot(phrase.sigma_s, kPhraseFloor_s), true, phrase.inverted});
  std::stable_sort(merged.begin(), merged.end(),
                   [](const auto& a, const auto& b) { return a.line_s < b.line_s; });
  return merged;
}

std::vector<Slip> slips_of(const std::vector<Phrase>& phrases, double limit_s) {
  std::vector<Slip> slips;
  if (phrases.empty()) return slips;
  const double usual_db = usual_level_db(phrases);
  bool goes_on = false;
  for (const Phrase& phrase : phrases) {
    const double sigma_s = std::hypot(phrase.sigma_s, kPhraseFloor_s);
    const bool off = phrase.heard && std::abs(phrase.late_s) > limit_s + kTwoSigma * sigma_s;
    if (!off) {
      goes_on = goes_on && !phrase.heard;
      continue;
    }
    const bool by_the_room = is_by_the_room(phrase.late_s);
    const bool faint = phrase.level_db < usual_db - kFaint_db;
    if (!goes_on || std::abs(phrase.late_s - slips.back().late_s) > kOneSlip_s)
      slips.push_back(
          {phrase.from_s, phrase.to_s, 0.0, phrase.late_s, sigma_s, by_the_room, false, true});
    Slip& slip = slips.back();
    slip.to_s = phrase.to_s;
    slip.talk_s += phrase.length_s();
    slip.beside_mute = slip.beside_mute || phrase.beside_mute;
    slip.is_faint = slip.is_faint && faint;
    slip.sigma_s = std::min(slip.sigma_s, sigma_s);
    if (std::abs(phrase.late_s) > std::abs(slip.late_s)) slip.late_s = phrase.late_s;
    goes_on = true;
  }
  return slips;
}

void judge_phrases(const sync::TrackPhrases& said, const sync::Residual& residual, double limit_s,
                   const StemFacts& facts, CheckedStem& stem) {
  tell_missing(said.missing, facts, stem);
  if (stem.verdict == Verdict::beyond) return;
  tell_unheard(said.phrases, stem);
  std::vector<Slip> sure;
  std::vector<Slip> unsure;
  for (const Slip& slip : slips_of(said.phrases, limit_s + residual.stair_s)) {
    const bool was_edited = facts.changed && facts.others_unchanged;
    const bool by_stream =
        !facts.in_room &&
        (!was_edited || any_within(facts.held_back, slip.from_s, slip.to_s, kAround_s));
    if (slip.talk_s >= kLeastSlip_s && !by_stream && !may_be_anothers(slip, facts)) {
      sure.push_back(slip);
    } else if (std::none_of(residual.passing.begin(), residual.passing.end(),
                            [&](const auto& each) {
                              return overlap(slip.from_s, slip.to_s, each.from_s - kAround_s,
                                             each.to_s + kAround_s);
                            })) {
      unsure.push_back(slip);
    }
  }
  if (!unsure.empty()) note(unsure, facts, stem);
  if (!sure.empty()) fail(sure, facts, stem);
}

}  // namespace kilter::commands

#include "check_phrases.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

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

bool is_by_the_room(double late_s) { return late_s > kInPlace_s && late_s < kThroughTheRoom_s; }

bool overlap(double from_s, double to_s, double other_from_s, double other_to_s) {
  return from_s < other_to_s && to_s > other_from_s;
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

/// From the first slip on nothing is in place again: what is lost or too much there is all of it.
std::optional<Step> step_of(const std::vector<Slip>& slips, const std::vector<Phrase>& phrases,
                            const sync::Residual& residual) {
  constexpr double kHalfWindow_s = 3.0;
  const Slip& first = slips.front();
  Step step{0.0, first.from_s, first.late_s};
  const auto is_alike = [&](double late_s) {
    return std::abs(late_s - first.late_s) <= kOneSlip_s;
  };
  for (const Slip& each : slips)
    if (!is_alike(each.late_s)) return std::nullopt;
  for (const Phrase& each : phrases) {
    if (!each.heard || is_alike(each.late_s)) continue;
    if (each.to_s > first.from_s) return std::nullopt;
    step.in_step_to_s = std::max(step.in_step_to_s, each.to_s);
  }
  for (const auto& run : residual.runs) {
    if (run.to_s > first.from_s + kHalfWindow_s) return std::nullopt;
    step.in_step_to_s = std::max(step.in_step_to_s, std::min(run.to_s, first.from_s));
  }
  return step.in_step_to_s > 0.0 ? std::optional(step) : std::nullopt;
}

void fail(const std::vector<Slip>& slips, const std::vector<Phrase>& phrases,
          const sync::Residual& residual, const StemFacts& facts, CheckedStem& stem) {
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
  const auto step = step_of(slips, phrases, residual);
  std::string text = step ? step_text(*step).substr(1)
                          : "It stands " + places(slips) +
                                " against the mix, and elsewhere does "
                                "not.";
  if (!facts.in_room)
    text += " It is not as it was written, and where it was aligned no stream held it back there.";
  text +=
      mend_text(facts, step ? step_mending(*step) : "move that stretch", worst.from_s, worst.to_s);
  Finding& finding = stem.findings.emplace_back(
      check_finding("misaligned", std::move(text), step ? step->off_from_s : worst.from_s));
  if (step) finding.step_s = -step->late_s;  // positive where sound is lost
}

void note(const std::vector<Slip>& slips, const StemFacts& facts, CheckedStem& stem) {
  std::string text = "It stands " + places(slips) + " against the mix, and elsewhere does not: ";
  if (std::all_of(slips.begin(), slips.end(),
                  [&](const Slip& each) { return may_be_anothers(each, facts); }))
    text += "it may be somebody else who talks there, heard across the room. Listen there.";
  else
    text += departure_text(facts, slips.front().from_s, slips.front().to_s);
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
      "It holds nothing where somebody talks whom the other microphones hear from across the room "
      "only, {} in all between {} and {}",
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
  if (!sure.empty()) fail(sure, said.phrases, residual, facts, stem);
}

}  // namespace kilter::commands

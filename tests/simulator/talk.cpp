#include "talk.h"

#include <algorithm>

#include "random.h"

namespace kilter::simulator {
namespace {

constexpr double kTalkDensity = 0.85;  // pauses are the rest

bool covers(const Running& running, const Utterance& u) {
  return running.from_s <= u.line_from_s && u.line_from_s + u.length_s <= running.to_s;
}

/// The first take of the same voice.
int first_take(const std::vector<Person>& people, int person) {
  int first = 0;
  while (voice_of(people, first) != voice_of(people, person)) ++first;
  return first;
}

/// Whether a person takes part in the conversation without having been given a share.
bool has_open_share(const std::vector<Person>& people, std::size_t i) {
  const Person& person = people[i];
  const bool patched = person.input == Input::copy || person.input == Input::mixer_mix;
  const bool nobody_there = patched || (!person.remote && person.input != Input::live);
  return !person.talk_share && person.words.empty() && !nobody_there &&
         first_take(people, static_cast<int>(i)) == static_cast<int>(i);
}

/// Gives what somebody says to the take that runs; what no take covers is not said.
void share_among_takes(const std::vector<Person>& people, const std::vector<Running>& recorded,
                       std::vector<Utterance>& talk) {
  const auto take_for = [&](const Utterance& u) {
    int takes = 0;
    for (std::size_t i = 0; i < people.size(); ++i) {
      if (voice_of(people, static_cast<int>(i)) != voice_of(people, u.person)) continue;
      ++takes;
      if (covers(recorded[i], u)) return static_cast<int>(i);
    }
    const bool stays = takes == 1 && !people[static_cast<std::size_t>(u.person)].comes_and_goes;
    return stays ? u.person : -1;
  };
  for (Utterance& u : talk) {
    const int take = take_for(u);
    u.person = take;
  }
  std::erase_if(talk, [](const Utterance& u) { return u.person < 0; });
}

void hush_under(const std::vector<Jingle>& jingles, std::vector<Utterance>& talk) {
  constexpr double kBreath_s = 0.2;
  std::erase_if(talk, [&](const Utterance& u) {
    return std::any_of(jingles.begin(), jingles.end(), [&](const Jingle& jingle) {
      return jingle.alone && u.line_from_s < jingle.line_s + jingle.length_s + kBreath_s &&
             u.line_from_s + u.length_s > jingle.line_s - kBreath_s;
    });
  });
}

class Conversation {
 public:
  Conversation(std::uint64_t seed, const std::vector<double>& shares, double from_s)
      : random_{seed, 21},
        shares_(shares),
        from_s_(from_s),
        spoken_s_(shares.size(), 0.0),
        free_from_s_(shares.size(), from_s) {}

  std::vector<Utterance> run(double to_s) {
    double at_s = from_s_;
    while (at_s < to_s) {
      const int speaker = next_speaker(at_s);
      if (speaker < 0) {  // everybody has had his share for now
        at_s += random_.between(0.2, 0.6);
        continue;
      }
      const double turn_end_s = turn(speaker, at_s);
      interjection(speaker, at_s, turn_end_s);
      last_ = speaker;
      const bool overlaps = random_.chance(0.2);
      const double gap_s = overlaps ? random_.between(-0.7, 0.0) : random_.between(0.2, 1.5);
      at_s = std::max(at_s + 0.3, turn_end_s + gap_s);
    }
    std::erase_if(talk_, [&](const Utterance& u) { return u.line_from_s + u.length_s > to_s; });
    std::stable_sort(talk_.begin(), talk_.end(), [](const Utterance& a, const Utterance& b) {
      return a.line_from_s < b.line_from_s;
    });
    return std::move(talk_);
  }

 private:
  /// Whoever is most behind his share is most likely to be next; -1 where nobody is.
  int next_speaker(double at_s) {
    std::vector<double> weights(shares_.size(), 0.0);
    double sum = 0.0;
    for (std::size_t i = 0; i < shares_.size(); ++i) {
      if (shares_[i] <= 0.0) continue;
      const double late_s = std::max(0.0, behind_s(i, at_s));
      weights[i] = late_s * late_s;
      if (static_cast<int>(i) == last_) weights[i] *= 0.2;
      sum += weights[i];
    }
    double pick = random_.uniform() * sum;
    for (std::size_t i = 0; i < weights.size(); ++i) {
      pick -= weights[i];
      if (weights[i] > 0.0 && pick <= 0.0) return static_cast<int>(i);
    }
    return -1;
  }

  /// Seconds of speech that `who` owes his share. Two seconds of credit let the first one begin.
  double behind_s(std::size_t who, double at_s) const {
    return shares_[who] * (at_s - from_s_ + 2.0) - spoken_s_[who];
  }

  double turn(int speaker, double at_s) {
    const double share = shares_[static_cast<std::size_t>(speaker)];
    // One who says little says it shortly, else one turn would be the whole share.
    const int sentences = share < 0.1 ? 1 : 1 + random_.index(5);
    double from_s = std::max(at_s, free_from_s_[static_cast<std::size_t>(speaker)]);
    for (int i = 0; i < sentences; ++i) {
      if (i > 0 && behind_s(static_cast<std::size_t>(speaker), from_s) < -4.0) break;
      const double length_s = share < 0.1 ? random_.between(1.5, 4.0) : random_.between(1.5, 8.0);
      say(speaker, from_s, length_s);
      from_s += length_s + random_.between(0.2, 0.9);
    }
    return free_from_s_[static_cast<std::size_t>(speaker)];
  }

  void interjection(int speaker, double from_s, double to_s) {
    if (to_s - from_s < 4.0 || !random_.chance(0.35)) return;
    const int other = random_.index(static_cast<int>(shares_.size()));
    if (other == speaker || shares_[static_cast<std::size_t>(other)] < 0.1) return;
    const double at_s = random_.between(from_s + 1.0, to_s - 1.0);
    if (at_s < free_from_s_[static_cast<std::size_t>(other)]) return;
    say(other, at_s, random_.between(0.35, 0.9));
  }

  void say(int speaker, double from_s, double length_s) {
    const auto who = static_cast<std::size_t>(speaker);
    talk_.push_back({speaker, from_s, length_s});
    spoken_s_[who] += length_s;
    free_from_s_[who] = from_s + length_s;
  }

  Random random_;
  const std::vector<double>& shares_;
  double from_s_;
  std::vector<double> spoken_s_;
  std::vector<double> free_from_s_;
  int last_{-1};
  std::vector<Utterance> talk_;
};

}  // namespace

std::vector<Utterance> plan_talk(std::uint64_t seed, const std::vector<double>& shares,
                                 double from_s, double to_s) {
  return Conversation(seed, shares, from_s).run(to_s);
}

std::vector<double> talk_shares(const std::vector<Person>& people) {
  double given = 0.0;
  int open = 0;
  for (const Person& person : people) given += person.talk_share.value_or(0.0);
  for (std::size_t i = 0; i < people.size(); ++i) open += has_open_share(people, i);
  const double rest = std::max(0.0, kTalkDensity - given) / std::max(1, open);
  std::vector<double> shares;
  shares.reserve(people.size());
  for (std::size_t i = 0; i < people.size(); ++i)
    shares.push_back(has_open_share(people, i) ? rest : people[i].talk_share.value_or(0.0));
  return shares;
}

int voice_of(const std::vector<Person>& people, int person) {
  return people[static_cast<std::size_t>(person)].voice.value_or(person);
}

std::vector<Utterance> session_talk(std::uint64_t seed, const SessionSpec& spec,
                                    const std::vector<Running>& recorded, Running all) {
  std::vector<Utterance> talk = plan_talk(seed, talk_shares(spec.people), all.from_s, all.to_s);
  for (std::size_t i = 0; i < spec.people.size(); ++i)
    for (const Words& words : spec.people[i].words)
      talk.push_back({static_cast<int>(i), words.line_from_s, words.length_s});
  share_among_takes(spec.people, recorded, talk);
  hush_under(spec.mix.music.jingles, talk);
  std::stable_sort(talk.begin(), talk.end(), [](const Utterance& a, const Utterance& b) {
    return a.line_from_s < b.line_from_s;
  });
  return talk;
}

}  // namespace kilter::simulator

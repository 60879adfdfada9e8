#include "neighbours.h"

#include "common_onsets.h"
#include "kilter/sync/first_map.h"

namespace kilter::sync {
namespace {

// People in one room share 0.4 and more of their onsets, others below 0.02.
constexpr double kNeighbours = 0.1;
constexpr double kLengthError_s = 1.5e-3;
constexpr double kMostOfIt = 0.5;

Result<bool> is_remote(const Aligning& session, std::size_t k) {
  if (!session.states[k].placed) return false;
  const auto own = session.features.get(k);
  if (!own) return own.error();
  bool compared = false;
  for (std::size_t other = 0; other < session.states.size(); ++other) {
    if (other == k || !session.states[other].placed) continue;
    if (session.states[other].recorder == session.states[k].recorder) return false;
    const auto others = session.features.get(other);
    if (!others) return others.error();
    if (onsets_in_common({own->get(), &*session.states[k].map},
                         {others->get(), &*session.states[other].map}) > kNeighbours)
      return false;
    compared = true;
  }
  return compared;
}

/// Whether a neighbour is heard just so late as the file is longer than that one's on the same
/// recorder: it has a stretch too much, or lost one, and nothing leaks.
bool is_of_a_step(const Leak& leak, const std::vector<TrackState>& states) {
  const TrackState& holder = states[leak.holder];
  const TrackState& from = states[leak.from];
  if (leak.holder == leak.from || holder.recorder != from.recorder) return false;
  const double way_s = leak.delay_s - holder.curve.rate * (holder.length_s - from.length_s);
  return way_s > -kLengthError_s && way_s < kNeighbour_s + kLengthError_s;
}

}  // namespace

Result<std::vector<bool>> remote_tracks(const Aligning& session) {
  return ask_tracks(session, [&](std::size_t k) { return is_remote(session, k); });
}

bool is_alone(const std::vector<TrackState>& states, std::size_t k) {
  for (std::size_t other = 0; other < states.size(); ++other)
    if (other != k && states[other].placed) return false;
  return true;
}

Result<void> hear_leaks(const std::vector<bool>& remote, Aligning& session) {
  session.leaks.clear();
  std::vector<LeakTrack> heard;
  std::vector<std::size_t> which;
  for (std::size_t k = 0; k < session.states.size(); ++k) {
    if (!session.is_microphone(k)) continue;
    which.push_back(k);
  }
  if (which.size() < 2) return {};
  if (auto done = measure_levels(session); !done) return done;
  for (const std::size_t k : which)
    heard.push_back({session.mapped(k), remote[k], session.levels_db[k]});
  auto leaks =
      find_leaks(heard, {.threads = session.options.threads, .stop = session.options.stop});
  if (!leaks) return leaks.error();
  for (Leak leak : *leaks) {
    leak.holder = which[leak.holder];
    leak.from = which[leak.from];
    if (!is_of_a_step(leak, session.states)) session.leaks.push_back(leak);
  }
  return {};
}

Result<void> compare_with_unplaced(Aligning& session) {
  return for_tracks(session, [&](std::size_t k) -> Result<void> {
    session.states[k].shares_with.reset();
    if (!session.is_microphone(k)) return {};
    std::shared_ptr<const OnsetFeatures> own;
    for (std::size_t other = 0; other < session.states.size() && !session.stopped(); ++other) {
      // A snippet is not where all that is heard of a long track may come from.
      const bool is_lost = !session.states[other].placed &&
                           session.copies[other].kind == CopyKind::none &&
                           session.states[other].length_s > kMostOfIt * session.states[k].length_s;
      if (!is_lost) continue;
      if (!own) {
        auto got = session.features.get(k);
        if (!got) return got.error();
        own = *std::move(got);
      }
      const auto others = session.features.get(other);
      if (!others) return others.error();
      if (first_map(*own, **others, session.options.stop).found) {
        session.states[k].shares_with = other;
        break;
      }
    }
    return {};
  });
}

}  // namespace kilter::sync

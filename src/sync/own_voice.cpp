#include "own_voice.h"

#include <algorithm>

#include "kilter/sync/talk_levels.h"
#include "recorders.h"

namespace kilter::sync {
namespace {

constexpr double kMuchLouder_db =
    7.0;                          // a leak 12 dB below its source: 9 to 12, but for one window
constexpr int kLeastOwn = 2;      // windows: one may hold a cough
constexpr double kReach_s = 3.0;  // half a window

/// In how many of the windows that place it the track is about as loud as any other, and which is
/// the loudest otherwise.
class OwnWindows {
 public:
  OwnWindows(const TalkLevels& levels, const std::vector<const TimeMap*>& maps, std::size_t track)
      : levels_(levels), maps_(maps), track_(track), louder_(maps.size(), 0) {}

  void add(double middle_s) {
    bool own = false;
    for (double at_s = middle_s - kReach_s; at_s <= middle_s + kReach_s; at_s += 1.0) {
      const auto lead = levels_.lead_of(maps_, track_, at_s);
      if (!lead) continue;
      if (lead->db > -kMuchLouder_db)
        own = true;
      else
        ++louder_[lead->over];
    }
    ++all_;
    if (own) ++own_;
  }

  std::optional<std::size_t> louder_in() const {
    if (own_ >= kLeastOwn || 2 * own_ >= all_) return std::nullopt;
    const auto most = std::max_element(louder_.begin(), louder_.end());
    if (*most == 0) return std::nullopt;
    return static_cast<std::size_t>(most - louder_.begin());
  }

 private:
  const TalkLevels& levels_;
  const std::vector<const TimeMap*>& maps_;
  std::size_t track_;
  std::vector<int> louder_;  // seconds, by track
  int all_{0};               // windows
  int own_{0};
};

}  // namespace

Result<void> find_borrowed_voices(Aligning& session) {
  if (auto done = measure_levels(session); !done) return done;
  const TalkLevels levels(session.levels_db);
  std::vector<TrackState>& states = session.states;
  std::vector<const TimeMap*> maps;  // of microphones: a mix is louder than any of them
  for (const TrackState& state : states)
    maps.push_back(state.placed && !state.apart ? &*state.map : nullptr);
  for (std::size_t k = 0; k < states.size(); ++k) {
    TrackState& state = states[k];
    state.louder_in.reset();
    if (!state.placed || !is_alone_on_its_recorder(states, k)) continue;
    std::vector<const TimeMap*> with = maps;
    with[k] = &*state.map;
    OwnWindows windows(levels, with, k);
    for (std::size_t i = 0; i < state.measured.size(); ++i)
      if (state.weights[i] > 0.1) windows.add(state.measured[i].at_s);
    state.louder_in = windows.louder_in();
  }
  return {};
}

}  // namespace kilter::sync

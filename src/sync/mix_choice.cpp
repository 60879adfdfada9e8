#include <algorithm>
#include <atomic>
#include <optional>
#include <thread>

#include "feature_shelf.h"
#include "kilter/base/parallel.h"
#include "kilter/signal/onset_features.h"
#include "kilter/sync/align.h"
#include "kilter/sync/copies.h"
#include "kilter/sync/first_map.h"

namespace kilter::sync {
namespace {

constexpr double kHeardSigma = 12.0;
constexpr double kHeardRatio = 1.6;  // above the best line elsewhere
constexpr double kClearLead = 1.2;   // of two that hear equally many: summed support

}  // namespace

Result<MixChoice> find_mix(const std::vector<TrackInput>& signals, const AlignOptions& options) {
  const int count = static_cast<int>(signals.size());
  const auto features = FeatureShelf::of(signals, options);
  if (!features) return features.error();

  std::vector<std::pair<int, int>> pairs;
  for (int i = 0; i < count; ++i)
    for (int j = 0; j < i; ++j) pairs.emplace_back(i, j);
  std::vector<double> support(pairs.size(), 0.0);
  std::vector<std::optional<Error>> errors(pairs.size());
  const auto caller = std::this_thread::get_id();
  parallel_for(static_cast<int>(pairs.size()), options.threads, [&](int p) {
    if (options.stop != nullptr && options.stop->load()) return;
    const auto [i, j] = pairs[static_cast<std::size_t>(p)];
    const auto a = (*features)->get(static_cast<std::size_t>(i));
    const auto b = (*features)->get(static_cast<std::size_t>(j));
    if (!a || !b) {
      errors[static_cast<std::size_t>(p)] = a ? b.error() : a.error();
      return;
    }
    const FirstMap map = first_map(**a, **b, options.stop);
    if (options.progress && std::this_thread::get_id() == caller)
      options.progress(static_cast<double>(p) / static_cast<double>(pairs.size()),
                       "looking for the mix");
    if (map.match_sigma >= kHeardSigma && map.match_sigma >= kHeardRatio * map.rival_sigma)
      support[static_cast<std::size_t>(p)] = map.match_sigma;
  });
  for (const auto& error : errors)
    if (error) return *error;
  if (options.stop != nullptr && options.stop->load())
    return Error{ErrorKind::interrupted, {}, "interrupted", ""};

  // The mix hears everybody; a guest is heard by the mix alone, a room mic by its neighbours too.
  struct Candidate {
    int index{0};
    int heard{0};
    double support{0.0};
  };
  std::vector<Candidate> candidates;
  for (int i = 0; i < count; ++i) candidates.push_back({i, 0, 0.0});
  for (std::size_t p = 0; p < pairs.size(); ++p) {
    if (support[p] <= 0.0) continue;
    for (const int i : {pairs[p].first, pairs[p].second}) {
      Candidate& candidate = candidates[static_cast<std::size_t>(i)];
      ++candidate.heard;
      candidate.support += support[p];
    }
  }
  std::stable_sort(candidates.begin(), candidates.end(),
                   [](const Candidate& a, const Candidate& b) {
                     return a.heard != b.heard ? a.heard > b.heard : a.support > b.support;
                   });
  // Room microphones hear each other as well as a mix does, but through the air.
  const auto is_mix = [&](const Candidate& candidate) -> Result<bool> {
    // The best supported first: another mix of the same talk, say.
    std::vector<std::pair<double, int>> by_support;
    for (std::size_t p = 0; p < pairs.size(); ++p)
      if (support[p] > 0.0 && pairs[p].first == candidate.index)
        by_support.emplace_back(-support[p], pairs[p].second);
      else if (support[p] > 0.0 && pairs[p].second == candidate.index)
        by_support.emplace_back(-support[p], pairs[p].first);
    std::sort(by_support.begin(), by_support.end());
    std::vector<int> heard;
    for (const auto& [ignored, index] : by_support) heard.push_back(index);
    const auto at = static_cast<std::size_t>(candidate.index);
    const auto its = (*features)->get(at);
    if (!its) return its.error();
    std::vector<FirstMap> maps(heard.size());
    std::vector<std::optional<Error>> unread(heard.size());
    parallel_for(static_cast<int>(heard.size()), options.threads, [&](int h) {
      const auto i = static_cast<std::size_t>(h);
      const auto other = (*features)->get(static_cast<std::size_t>(heard[i]));
      if (other)
        maps[i] = first_map(**its, **other, options.stop);
      else
        unread[i] = other.error();
    });
    for (const auto& error : unread)
      if (error) return *error;
    std::vector<CopyCandidate> tracks;
    for (std::size_t i = 0; i < heard.size(); ++i)
      tracks.push_back({signals[static_cast<std::size_t>(heard[i])].signal, &maps[i]});
    // Of two that hear nobody else, either may be the other's mix.
    const int needed = std::min(2, candidates[0].heard);
    // Another mix explains all of it and leaves nothing for the others to explain.
    for (std::size_t left_out = 0; left_out < 2 && left_out < tracks.size(); ++left_out) {
      const auto sources =
          sources_by_wire(*signals[at].signal, **its, std::span(tracks).subspan(left_out),
                          options.threads, options.stop);
      if (!sources) return sources.error();
      if (*sources >= needed) return true;
    }
    return false;
  };
  MixChoice choice;
  double support_of_choice = 0.0;
  for (const Candidate& candidate : candidates) {
    if (candidate.heard == 0) break;
    if (choice.index >= 0 && (candidate.heard < choice.heard_in_it ||
                              support_of_choice >= kClearLead * candidate.support))
      break;
    const auto mix = is_mix(candidate);
    if (!mix) return mix.error();
    if (!*mix) continue;
    if (choice.index >= 0) {
      choice.rival = candidate.index;
      break;
    }
    choice.index = candidate.index;
    choice.heard_in_it = candidate.heard;
    support_of_choice = candidate.support;
  }
  return choice;
}

}  // namespace kilter::sync

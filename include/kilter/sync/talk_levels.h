// When one track talks and the others do not.
#pragma once

#include <atomic>
#include <optional>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"
#include "kilter/sync/window_meter.h"

namespace kilter::sync {

/// Level of every second of a signal, in its own time, in dB; strong hum of the mains left out.
/// Cost: a pass over it, two where it hums.
Result<std::vector<double>> levels_db(const AnalysisSignal& signal, const std::atomic<bool>* stop);

/// Levels of all tracks, each against its own loud seconds: gains do not matter, and who talks
/// little is loud when he does.
class TalkLevels {
 public:
  TalkLevels() = default;
  /// From levels_db() of every track.
  explicit TalkLevels(std::vector<std::vector<double>> levels_db);
  static Result<TalkLevels> measure(const std::vector<const AnalysisSignal*>& signals, int threads,
                                    const std::atomic<bool>* stop);

  /// The louder of the two seconds round a track second; nothing outside the track.
  std::optional<double> at(std::size_t track, double track_s) const;
  /// How far `from` stands above the loudest other round timeline second `line_s`, in dB; nothing
  /// where it does not talk. A null map: that track lies nowhere.
  std::optional<double> alone_db(const std::vector<const TimeMap*>& maps, std::size_t from,
                                 double line_s) const;
  /// Against another track, as they were recorded: gains do matter.
  struct Lead {
    double db{0.0};
    std::size_t over{0};  // the loudest other; itself where there is none
  };
  /// By how much `from` is louder than the loudest other round timeline second `line_s`; nothing
  /// where it does not talk.
  std::optional<Lead> lead_of(const std::vector<const TimeMap*>& maps, std::size_t from,
                              double line_s) const;

 private:
  std::optional<double> on_timeline(const std::vector<const TimeMap*>& maps, std::size_t track,
                                    double line_s) const;

  std::vector<std::vector<double>> levels_;
  std::vector<double> loud_db_;
};

}  // namespace kilter::sync

// What is printed of many outcomes.
#pragma once

#include <string>
#include <vector>

#include "accuracy/judge.h"

namespace kilter::accuracy {

/// Sums of the outcomes of a row's sessions.
class Row {
 public:
  void add(const Outcome& outcome);

  /// Largest error anywhere, away from seams.
  double worst_us() const;
  double error_us(double quantile) const;
  int count(Standing standing) const;
  int wrong_firm() const;
  int outside_bound() const;
  double held_percent() const;

  /// What is not as it should be, a letter each: e error beyond the limit, f not all firm that
  /// should be (or strangers placed), u part of a track in no span, w wrong firm, s seams missed, c
  /// false or badly measured ones, n findings missed or false, v voices missed or false. Empty: all
  /// well.
  std::string complaints(double limit_us, bool must_be_firm) const;

  std::string line(const std::string& name, const std::string& about, double limit_us,
                   bool must_be_firm) const;

  const std::vector<TrackOutcome>& tracks() const { return tracks_; }
  const CodeTally& codes() const { return codes_; }
  const SeamTally& seams() const { return seams_; }
  const VoiceTally& voices() const { return voices_; }
  double align_s() const { return align_s_; }
  double track_hours() const { return track_hours_; }

 private:
  std::vector<TrackOutcome> tracks_;
  std::vector<double> errors_us_;
  SeamTally seams_;
  CodeTally codes_;
  VoiceTally voices_;
  double align_s_{0.0};
  double track_hours_{0.0};
};

/// Two lines above the rows.
std::string heading();
/// What the columns and letters mean.
std::string legend();
/// How many errors lie within what was stated, by what was stated.
std::string reliability_table(const std::vector<TrackOutcome>& tracks);

/// A line for a track, for the curious.
std::string track_line(const TrackOutcome& track);

}  // namespace kilter::accuracy

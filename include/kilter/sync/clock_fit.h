// A recorder's clock, from pairs of times measured along it.
#pragma once

#include <vector>

namespace kilter::sync {

/// Track second `track_s` is heard at second `line_s`, give or take `sigma_s` (one standard error,
/// above 0).
struct Pairing {
  double track_s{0.0};
  double line_s{0.0};
  double sigma_s{0.0};
  int level{0};  ///< index of the stretch between two seams; below 0: belongs to none, not used
};

/// Two seams apart, a step is the same: from `level` to `next` by as much as from `other` to
/// `other_next`. So lies one track beside its recorder's others that has lost something alone.
struct LevelTie {
  int level{0};
  int next{0};
  int other{0};
  int other_next{0};
};

/// Where a recorder's time lies: `line = start[level] + rate * track + bend(track)`. A seam changes
/// the level; the clock itself runs on.
struct ClockCurve {
  std::vector<double> start_s{0.0};  ///< one per level
  double rate{1.0};                  ///< timeline seconds per track second
  /// Where the clock wanders: what the rate has more at each knot, straight between knots and
  /// constant beyond them. Both empty: a straight line.
  std::vector<double> knots_s;
  std::vector<double> bend_rates;

  double bend_s(double track_s) const;
  double line_s(int level, double track_s) const;
  /// Timeline seconds per track second at one place.
  double rate_at(double track_s) const;
  std::vector<LevelTie> ties;
  bool is_straight() const { return knots_s.empty(); }
};

struct ClockFitOptions {
  double max_slope{20e-6};       ///< prior of what is left to correct in the rate
  double sigma_floor_s{2e-6};    ///< added in quadrature: what pairs share is not averaged away
  double gate_s{60e-6};          ///< a pair so far off can still be right
  double knot_spacing_s{150.0};  ///< closest; the most knots a curve may have follows from it
  bool may_bend{true};
};

struct ClockFit {
  bool found{false};
  ClockCurve curve;
  std::vector<double> weights;  ///< 0..1 per pairing; 0 is outside
  int used{0};
  double scatter_s{0.0};      ///< weighted standard deviation of the used residuals
  double rate_sigma{0.0};     ///< one standard error of the mean rate
  double middle_s{0.0};       ///< weighted mean of the used track times
  double held_out_gain{0.0};  ///< how much better than the line the bend foretells held-out pairs

  /// One standard error of curve.line_s(level, track_s).
  double sigma_s(int level, double track_s) const;

  std::vector<double> covariance;  ///< of levels, then rates at knots; row-major
};

/// Fits all levels with one clock, starting from `before` (same levels) and the pairs whose level
/// is not below 0, by weighted least squares with redescending weights (Tukey's biweight). The
/// clock bends only where that foretells pairs held out of the fit better than the line does. Cost:
/// pairings times the square of levels and knots; milliseconds for an hour.
ClockFit fit_clock(const std::vector<Pairing>& pairings, const ClockCurve& before,
                   const ClockFitOptions& options);

}  // namespace kilter::sync

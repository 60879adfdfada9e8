// A robust straight line through measured offsets.
#pragma once

#include <vector>

namespace kilter::sync {

/// One measured offset: at timeline second `line_s` the track is heard `offset_s` later than its
/// map says, give or take `sigma_s` (one standard error, above 0).
struct Observation {
  double line_s{0.0};
  double offset_s{0.0};
  double sigma_s{0.0};
};

struct LineFitOptions {
  double max_slope{100e-6};    ///< steepest line tried, seconds per second
  double cluster_s{1e-3};      ///< half-width of the cluster that the fit starts from
  double sigma_floor_s{1e-6};  ///< added in quadrature: what windows share is not averaged away
};

struct LineFit {
  bool found{false};
  double middle_s{0.0};  ///< weighted mean of the times; offset and slope are uncorrelated there
  double offset_s{0.0};  ///< at middle_s
  double slope{0.0};     ///< seconds per second
  double offset_sigma_s{0.0};
  double slope_sigma{0.0};
  double scatter_s{0.0};  ///< robust standard deviation of the used residuals
  int used{0};
  double used_share{0.0};  ///< of all the evidence (sum of 1/sigma^2, capped), what the line holds
  std::vector<double> weights;  ///< 0..1 per observation; 0 is outside

  double at(double line_s) const { return offset_s + slope * (line_s - middle_s); }
  /// One standard error of at().
  double sigma_at(double line_s) const;
};

/// Starts from the line that most of the evidence agrees on within `cluster_s` (every pair of
/// strong observations proposes one), then lets redescending weights (Tukey's biweight) settle. A
/// single observation gives a line of slope 0 whose slope_sigma is `max_slope`. Cost: the square of
/// the number of observations, capped at a few hundred proposals.
LineFit fit_line(const std::vector<Observation>& observations, const LineFitOptions& options);

}  // namespace kilter::sync

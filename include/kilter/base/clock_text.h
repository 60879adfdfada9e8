// Times as people read them.
#pragma once

#include <string>

namespace kilter {

/// "00:12:34.567" (the form of findings) for 754.567 and 3 decimals (0 to 9), with a minus where it
/// is below 0. Rounded to the last digit shown, so that no 60 appears. "-" for what is no number.
std::string clock_text(double seconds, int decimals = 3);

/// A short time with its unit, without its sign: "0.0021 ms", "12.3 ms", "1500 ms"; from 10 s on as
/// clock_text().
std::string short_time_text(double seconds);

/// What a place is good to, in microseconds as tables have it: "15.2"; a wider bound has its unit,
/// "60 ms", and one beyond a second says no more than that.
std::string bound_text(double bound_us);

}  // namespace kilter

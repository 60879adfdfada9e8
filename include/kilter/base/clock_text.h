// Times as people read them.
#pragma once

#include <string>

namespace kilter {

/// "00:12:34.567" (the form of findings) for 754.567 and 3 decimals (0 to 9), with a minus where it
/// is below 0. Rounded to the last digit shown, so that no 60 appears. "-" for what is no number.
std::string clock_text(double seconds, int decimals = 3);

}  // namespace kilter

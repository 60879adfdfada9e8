#include "mix_timeline.h"

#include <algorithm>
#include <cmath>

namespace kilter::sync {

std::vector<Span> mix_spans_of(const std::vector<Seam>& seams, double mix_length_s) {
  std::vector<Span> spans;
  double from_s = 0.0;
  double line_s = 0.0;
  for (const Seam& seam : seams) {
    if (seam.cause != SeamCause::mix) continue;
    const double end_s = std::clamp(seam.place.mix_end_s, from_s, mix_length_s);
    // Worked out once: spans that meet must not overlap by a rounding.
    const double line_end_s = line_s + (end_s - from_s);
    if (end_s > from_s) spans.push_back({from_s, end_s, line_s, line_end_s, 0.0});
    line_s = line_end_s + std::max(0.0, -seam.step_s);
    from_s = end_s + std::max(0.0, seam.step_s);
  }
  if (from_s < mix_length_s)
    spans.push_back({from_s, mix_length_s, line_s, line_s + (mix_length_s - from_s), 0.0});
  return spans;
}

double to_timeline(const std::vector<Span>& mix_spans, double mix_s) {
  const Span* best = &mix_spans.front();
  for (const Span& span : mix_spans)
    if (span.from_s <= mix_s) best = &span;
  const bool last = best == &mix_spans.back();
  const double inside_s = last ? mix_s : std::min(mix_s, best->to_s);
  return best->line_from_s + (inside_s - best->from_s);
}

bool is_on_timeline(const std::vector<Span>& mix_spans, double mix_s) {
  return std::any_of(mix_spans.begin(), mix_spans.end(),
                     [&](const Span& span) { return mix_s >= span.from_s && mix_s <= span.to_s; });
}

}  // namespace kilter::sync

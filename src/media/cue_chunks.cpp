#include "cue_chunks.h"

#include <algorithm>
#include <cstdint>
#include <iterator>
#include <limits>

#include "little_endian.h"
#include "note_texts.h"

namespace kilter::media {
namespace {

constexpr std::int64_t kLastPlace = std::numeric_limits<std::uint32_t>::max();

std::string points(const std::vector<CueMarker>& cues) {
  std::string content;
  put_32(content, cues.size());
  for (std::size_t i = 0; i < cues.size(); ++i) {
    const auto place = static_cast<std::uint64_t>(cues[i].at.n);
    put_32(content, i + 1);
    put_32(content, place);
    content += "data";
    put_32(content, 0);  // the chunk's and the block's start: of use with a playlist only
    put_32(content, 0);
    put_32(content, place);
  }
  return content;
}

std::string labels(const std::vector<CueMarker>& cues) {
  std::string content;
  for (std::size_t i = 0; i < cues.size(); ++i) {
    if (cues[i].text.empty()) continue;
    std::string label;
    put_32(label, i + 1);
    label += one_line(cues[i].text) + '\0';
    if (label.size() % 2 != 0) label += '\0';
    put_chunk(content, "labl", label);
  }
  return content;
}

}  // namespace

std::vector<CueMarker> cues_within(const std::vector<CueMarker>& cues, Frames length) {
  const std::int64_t last = std::min(length.n, kLastPlace);
  std::vector<CueMarker> kept;
  std::copy_if(cues.begin(), cues.end(), std::back_inserter(kept),
               [&](const CueMarker& cue) { return cue.at.n >= 0 && cue.at.n <= last; });
  std::stable_sort(kept.begin(), kept.end(),
                   [](const CueMarker& a, const CueMarker& b) { return a.at.n < b.at.n; });
  return kept;
}

std::string cue_chunks(const std::vector<CueMarker>& cues) {
  std::string chunks;
  if (cues.empty()) return chunks;
  put_chunk(chunks, "cue ", points(cues));
  const std::string names = labels(cues);
  if (!names.empty()) put_chunk(chunks, "LIST", "adtl" + names);
  return chunks;
}

}  // namespace kilter::media

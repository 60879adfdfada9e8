#include "ixml_text.h"

#include <cstdint>
#include <string_view>

#include "note_texts.h"

namespace kilter::media {
namespace {

std::string element(const std::string& name, std::string_view text) {
  return '<' + name + '>' + xml_text(text) + "</" + name + ">\n";
}

std::string element(const std::string& name, std::uint64_t number) {
  return element(name, std::to_string(number));
}

std::string group(const std::string& name, const std::string& elements) {
  return '<' + name + ">\n" + elements + "</" + name + ">\n";
}

std::string timecode(const TimecodeRate& rate) {
  const std::string fraction =
      std::to_string(rate.numerator) + '/' + std::to_string(rate.denominator);
  return element("MASTER_SPEED", fraction) + element("CURRENT_SPEED", fraction) +
         element("TIMECODE_RATE", fraction) +
         element("TIMECODE_FLAG", rate.drop_frame ? "DF" : "NDF");
}

std::string speed(const BroadcastNotes& notes, const IxmlFormat& format) {
  const auto since_midnight = static_cast<std::uint64_t>(notes.time_reference.n);
  const auto rate_hz = static_cast<std::uint64_t>(format.rate_hz);
  return (notes.timecode_rate ? timecode(*notes.timecode_rate) : "") +
         element("FILE_SAMPLE_RATE", rate_hz) +
         element("AUDIO_BIT_DEPTH", static_cast<std::uint64_t>(format.bits)) +
         element("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI", since_midnight >> 32U) +
         element("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO", since_midnight & 0xFFFFFFFFU) +
         element("TIMESTAMP_SAMPLE_RATE", rate_hz);
}

std::string tracks(const BroadcastNotes& notes, const IxmlFormat& format) {
  const auto channels = static_cast<std::uint64_t>(format.channels);
  std::string list = element("TRACK_COUNT", channels);
  for (std::uint64_t channel = 0; channel < channels; ++channel) {
    const bool is_named = channel < notes.track_names.size();
    list += group("TRACK", element("CHANNEL_INDEX", channel + 1) +
                               element("INTERLEAVE_INDEX", channel + 1) +
                               element("NAME", is_named ? notes.track_names[channel] : ""));
  }
  return list;
}

}  // namespace

std::string ixml_text(const BroadcastNotes& notes, const IxmlFormat& format) {
  std::string text =
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n" +
      group("BWFXML", element("IXML_VERSION", "1.61") + element("PROJECT", notes.project) +
                          element("NOTE", notes.note) + group("SPEED", speed(notes, format)) +
                          group("TRACK_LIST", tracks(notes, format)));
  while (text.size() % 4 != 0) text += '\n';
  return text;
}

}  // namespace kilter::media

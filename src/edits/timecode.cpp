#include "kilter/edits/timecode.h"

#include <fmt/format.h>

#include <array>
#include <string_view>

namespace kilter::edits {
namespace {

constexpr int kSecondsPerDay = 24 * 60 * 60;

struct NamedRate {
  const char* text;
  FrameRate rate;
};
constexpr std::array kRates{
    NamedRate{"23.976", {24, true, false}}, NamedRate{"24", {24, false, false}},
    NamedRate{"25", {25, false, false}},    NamedRate{"29.97", {30, true, false}},
    NamedRate{"29.97df", {30, true, true}}, NamedRate{"30", {30, false, false}},
    NamedRate{"50", {50, false, false}},    NamedRate{"59.94", {60, true, false}},
    NamedRate{"59.94df", {60, true, true}}, NamedRate{"60", {60, false, false}}};

/// Rounded down, also below 0; `divisor` above 0.
constexpr std::int64_t quotient(std::int64_t dividend, std::int64_t divisor) {
  return dividend / divisor - (dividend % divisor < 0 ? 1 : 0);
}

constexpr std::int64_t remainder(std::int64_t dividend, std::int64_t divisor) {
  return dividend - quotient(dividend, divisor) * divisor;
}

/// Labels skipped in each minute that ten does not divide.
std::int64_t skipped_per_minute(const FrameRate& rate) {
  return rate.drop_frame ? rate.nominal / 15 : 0;
}

/// Counts the skipped labels in: the number that the frame would have without skipping.
std::int64_t with_skipped(std::int64_t frame, const FrameRate& rate) {
  const std::int64_t skipped = skipped_per_minute(rate);
  const std::int64_t per_minute = std::int64_t{60} * rate.nominal;
  const std::int64_t per_ten_minutes = 10 * per_minute - 9 * skipped;
  const std::int64_t rest = frame % per_ten_minutes;
  // The first minute of ten is whole; each later one is shorter by what it skips.
  const std::int64_t short_minutes =
      rest < per_minute ? 0 : 1 + (rest - per_minute) / (per_minute - skipped);
  return frame + skipped * (9 * (frame / per_ten_minutes) + short_minutes);
}

Error wrong(const std::string& text, const std::string& why) {
  return {ErrorKind::bad_command,
          {},
          '"' + text + "\" is no timecode: " + why,
          "write HH:MM:SS:FF, for example 01:00:00:00"};
}

/// The four numbers of a label in their form, whatever their sizes.
std::optional<TimecodeLabel> label_from(std::string_view text) {
  if (text.size() != 11) return std::nullopt;
  std::array<std::int64_t, 4> fields{};
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool separates = i % 3 == 2;
    const bool fits =
        separates ? text[i] == ':' || (i == 8 && text[i] == ';') : text[i] >= '0' && text[i] <= '9';
    if (!fits) return std::nullopt;
    if (!separates) fields[i / 3] = fields[i / 3] * 10 + (text[i] - '0');
  }
  return TimecodeLabel{fields[0], fields[1], fields[2], fields[3]};
}

}  // namespace

std::int64_t FrameRate::frames_per_day() const {
  constexpr int kShortMinutesPerDay = 24 * 54;
  return std::int64_t{kSecondsPerDay} * nominal - kShortMinutesPerDay * skipped_per_minute(*this);
}

std::optional<FrameRate> frame_rate_from_text(const std::string& text) {
  for (const NamedRate& named : kRates)
    if (text == named.text) return named.rate;
  return std::nullopt;
}

std::string to_text(const FrameRate& rate) {
  for (const NamedRate& named : kRates)
    if (rate == named.rate) return named.text;
  return fmt::format("{}/{}", rate.numerator(), rate.denominator());
}

std::vector<std::string> frame_rate_names() {
  std::vector<std::string> names;
  names.reserve(kRates.size());
  for (const NamedRate& named : kRates) names.emplace_back(named.text);
  return names;
}

TimecodeLabel label_of(std::int64_t frame, const FrameRate& rate) {
  const std::int64_t n = with_skipped(remainder(frame, rate.frames_per_day()), rate);
  const std::int64_t second = n / rate.nominal;
  return {second / 3600, second / 60 % 60, second % 60, n % rate.nominal};
}

std::string timecode_text(std::int64_t frame, const FrameRate& rate) {
  const TimecodeLabel label = label_of(frame, rate);
  return fmt::format("{:02}:{:02}:{:02}{}{:02}", label.hour, label.minute, label.second,
                     rate.drop_frame ? ';' : ':', label.frame);
}

Result<std::int64_t> frame_of_timecode(const std::string& text, const FrameRate& rate) {
  const auto label = label_from(text);
  if (!label) return wrong(text, "it must be HH:MM:SS:FF");
  if (text[8] == ';' && !rate.drop_frame)
    return wrong(text, "a ; means drop-frame, and " + to_text(rate) + " drops none");
  if (label->hour > 23) return wrong(text, "hours go from 00 to 23");
  if (label->minute > 59) return wrong(text, "minutes go from 00 to 59");
  if (label->second > 59) return wrong(text, "seconds go from 00 to 59");
  if (label->frame >= rate.nominal)
    return wrong(text,
                 fmt::format("frames go from 00 to {} at {}", rate.nominal - 1, to_text(rate)));
  const std::int64_t skipped = skipped_per_minute(rate);
  if (label->minute % 10 != 0 && label->second == 0 && label->frame < skipped)
    return wrong(text, "drop-frame skips this label");
  const std::int64_t minutes = 60 * label->hour + label->minute;
  return (60 * minutes + label->second) * rate.nominal + label->frame -
         skipped * (minutes - minutes / 10);
}

// Whole periods, in which frames and samples meet, are taken out first, so that no product
// overflows.
std::int64_t first_sample_of_frame(std::int64_t frame, const FrameRate& rate,
                                   std::int64_t samples_per_s) {
  const std::int64_t period_samples = rate.denominator() * samples_per_s;
  const std::int64_t rest = remainder(frame, rate.numerator()) * period_samples;
  return quotient(frame, rate.numerator()) * period_samples - quotient(-rest, rate.numerator());
}

std::int64_t frame_of_sample(std::int64_t sample, const FrameRate& rate,
                             std::int64_t samples_per_s) {
  const std::int64_t period_samples = rate.denominator() * samples_per_s;
  const std::int64_t rest = remainder(sample, period_samples) * rate.numerator();
  return quotient(sample, period_samples) * rate.numerator() + rest / period_samples;
}

}  // namespace kilter::edits

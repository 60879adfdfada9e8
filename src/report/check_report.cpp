#include "kilter/report/check_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "findings_text.h"
#include "kilter/base/clock_text.h"
#include "kilter/base/utf8.h"
#include "kilter/report/xml_text.h"
#include "lineup_words.h"

namespace kilter::report {
namespace {

using Json = nlohmann::ordered_json;

double milliseconds(double s) {
  const double ms = 1000.0 * s;
  return std::abs(ms) < 5e-4 ? 0.0 : ms;  // no "-0.000"
}

std::size_t count(const CheckReport& report, Verdict verdict) {
  return static_cast<std::size_t>(
      std::count_if(report.stems.begin(), report.stems.end(),
                    [&](const CheckedStem& stem) { return stem.verdict == verdict; }));
}

// What is wrong with a stem's file, wherever it stands.
constexpr std::string_view kSwapped = "swapped";
constexpr std::string_view kInverted = "inverted";
constexpr std::string_view kDamage[] = {"emptied", "missing-stem", kSwapped, "truncated",
                                        "unequal-length"};

bool holds(const std::vector<Finding>& findings, std::string_view code) {
  return std::any_of(findings.begin(), findings.end(),
                     [&](const Finding& finding) { return finding.code == code; });
}
bool holds(const CheckedStem& stem, std::string_view code) { return holds(stem.findings, code); }

/// Whether its file is not what it should be, wherever it stands.
bool is_damaged(const CheckedStem& stem) {
  return std::any_of(std::begin(kDamage), std::end(kDamage),
                     [&](std::string_view code) { return holds(stem, code); });
}

std::string kind_of_failure(const CheckedStem& stem) {
  for (const std::string_view code : kDamage)
    if (holds(stem, code)) return std::string(code);
  return is_only_inverted(stem) ? std::string(kInverted) : to_text(stem.verdict);
}

std::vector<std::string> row_of(const CheckedStem& stem, const std::string& notes) {
  // One that stands where it should and fails all the same says why.
  const bool fails =
      is_only_inverted(stem) || (stem.verdict == Verdict::within && is_damaged(stem));
  const std::string verdict = fails ? kind_of_failure(stem) : to_text(stem.verdict);
  if (!stem.worst_s)
    return {stem.name, verdict, "-", "-", "-", "-", fmt::format("{}/{}", stem.clear, stem.speaking),
            notes};
  return {stem.name,
          verdict,
          fmt::format("{:+.3f}", milliseconds(*stem.worst_s)),
          clock_text(stem.worst_at_s, 0),
          bound_text(stem.uncertainty_us),
          fmt::format("{:+.2f}", std::abs(stem.slope_ppm) < 0.005 ? 0.0 : stem.slope_ppm),
          fmt::format("{}/{}", stem.clear, stem.speaking),
          notes};
}

/// Why some of it was not measured, whatever is known of the rest.
const Finding* unmeasured(const CheckReport& report) {
  const auto found =
      std::find_if(report.findings.begin(), report.findings.end(), [](const Finding& finding) {
        return finding.code == "truncated" || finding.code == "unreadable-lineup";
      });
  return found == report.findings.end() ? nullptr : &*found;
}

std::string summary(const CheckReport& report) {
  const auto inverted = static_cast<std::size_t>(
      std::count_if(report.stems.begin(), report.stems.end(), is_only_inverted));
  const std::size_t within = count(report, Verdict::within) + inverted;
  const std::size_t checked = report.stems.size() - count(report, Verdict::left_out);
  std::vector<std::string> swapped;
  for (const CheckedStem& stem : report.stems)
    if (kind_of_failure(stem) == kSwapped) swapped.push_back(stem.name);
  std::string text = swapped.empty() ? "" : "Names exchanged: " + joined(swapped) + ". ";
  text += fmt::format("{} of {} within {:g} ms", within, counted(checked, "stem"), report.limit_ms);
  if (const auto beyond = count(report, Verdict::beyond) - inverted; beyond > 0)
    text += fmt::format("; {} beyond", beyond);
  if (inverted > 0) text += fmt::format("; {} inverted", inverted);
  if (const auto unknown = count(report, Verdict::no_evidence); unknown > 0)
    text += fmt::format("; {} without evidence{}", unknown,
                        report.allow_silent ? ", let pass if they hardly sound and nobody is "
                                              "missing"
                                            : "");
  const auto damaged = static_cast<std::size_t>(
                           std::count_if(report.stems.begin(), report.stems.end(), is_damaged)) -
                       swapped.size();
  if (damaged > 0) text += fmt::format("; {} not as written", damaged);
  if (report.null_db)
    text += fmt::format(". Together they explain the mix to {:.1f} dB", *report.null_db);
  return wrapped(printable(text + '.'), kTerminalColumns, 2) + '\n';
}

/// The finding that a test report shows first.
std::string message_of(const CheckedStem& stem) {
  for (const char* code :
       {"misaligned", "inverted", "emptied", "missing-stem", "swapped", "truncated",
        "unequal-length", "no-evidence", "called-mix", "unreadable"})
    for (const Finding& finding : stem.findings)
      if (finding.code == code) return finding.text;
  return to_text(stem.verdict);
}

Json findings_json(const std::vector<Finding>& findings) {
  Json list = Json::array();
  for (const Finding& finding : findings) {
    Json object{{"code", finding.code}};
    if (finding.line_s) object["line_s"] = *finding.line_s;
    if (finding.step_s) object["step_s"] = *finding.step_s;
    object["text"] = finding.text;
    list.push_back(std::move(object));
  }
  return list;
}

Json number_or_null(const std::optional<double>& value) {
  return value ? Json(*value) : Json(nullptr);
}

Json stem_json(const CheckedStem& stem) {
  Json object{{"name", stem.name}, {"file", stem.file}, {"verdict", to_text(stem.verdict)}};
  object["worst_s"] = number_or_null(stem.worst_s);
  if (stem.worst_s) {
    object["worst_at_s"] = stem.worst_at_s;
    object["uncertainty_us"] = stem.uncertainty_us;
    object["slope_ppm"] = stem.slope_ppm;
  }
  object["windows"] = {{"clear", stem.clear}, {"speaking", stem.speaking}};
  object["minutes"] = Json::array();
  for (const CheckedMinute& minute : stem.minutes)
    object["minutes"].push_back(
        {{"late_s", number_or_null(minute.late_s)}, {"windows", minute.windows}});
  object["findings"] = findings_json(stem.findings);
  return object;
}

}  // namespace

const char* to_text(Verdict verdict) {
  switch (verdict) {
    case Verdict::within:
      return "within";
    case Verdict::beyond:
      return "beyond";
    case Verdict::no_evidence:
      return "no evidence";
    case Verdict::left_out:
      return "left out";
  }
  return "";
}

bool is_only_inverted(const CheckedStem& stem) {
  return stem.verdict == Verdict::beyond && holds(stem, kInverted) && !holds(stem, "misaligned");
}

bool hardly_sounds(const CheckedStem& stem) {
  constexpr int kHardly = 2;  // windows
  return stem.speaking <= kHardly && !holds(stem, "unreadable") && !holds(stem, "called-mix");
}

bool passes(const CheckedStem& stem, const CheckReport& report) {
  if (is_damaged(stem)) return false;
  // One that sounds and that the mix does not bear out is no silence.
  return stem.verdict == Verdict::within || stem.verdict == Verdict::left_out ||
         (stem.verdict == Verdict::no_evidence && report.allow_silent && hardly_sounds(stem) &&
          !holds(report.findings, "missing-voice"));
}

bool passes(const CheckReport& report) {
  return unmeasured(report) == nullptr &&
         std::all_of(report.stems.begin(), report.stems.end(),
                     [&](const CheckedStem& stem) { return passes(stem, report); });
}

std::string check_text(const CheckReport& report, int width) {
  FindingList findings;
  std::vector<std::vector<std::string>> rows;
  for (const CheckedStem& stem : report.stems)
    rows.push_back(row_of(stem, findings.add(stem.name, stem.findings)));
  findings.add("", report.findings);
  const std::vector<Column> columns{
      {"stem", "", false, TooWide::cut}, {"verdict", ""},    {"late", "ms", true},
      {"at", "hh:mm:ss", true},          {"+-", "us", true}, {"slope", "ppm", true},
      {"windows", "clear/of", true},     {"note", ""}};
  const std::string heading = fmt::format("{}: {} against \"{}\" ({}), limit {:g} ms",
                                          report.session, counted(report.stems.size(), "stem"),
                                          report.mix, clock_text(report.length_s), report.limit_ms);
  std::string text = wrapped(printable(heading), kTerminalColumns, 2) + "\n\n" +
                     text_table(columns, rows, width) + '\n' + summary(report);
  const std::string listed = findings.text();
  if (listed.empty()) return text;
  if (report.from_s != 0.0)
    text += wrapped("Times are the stems', which start at " + clock_text(report.from_s) +
                        " of their lineup's timeline.",
                    kTerminalColumns, 2) +
            '\n';
  return text + '\n' + listed;
}

std::string check_json(const CheckReport& report) {
  Json object{{"kind", "kilter check"},      {"version", 1},
              {"session", report.session},   {"mix", report.mix},
              {"length_s", report.length_s}, {"limit_ms", report.limit_ms},
              {"passes", passes(report)}};
  object["null_db"] = number_or_null(report.null_db);
  object["null_db_by_minute"] = Json::array();
  for (const auto& minute : report.null_db_by_minute)
    object["null_db_by_minute"].push_back(number_or_null(minute));
  object["stems"] = Json::array();
  for (const CheckedStem& stem : report.stems) object["stems"].push_back(stem_json(stem));
  object["findings"] = findings_json(report.findings);
  return with_controls_escaped(object.dump(2, ' ', false, Json::error_handler_t::replace)) + '\n';
}

std::string check_junit(const CheckReport& report) {
  std::size_t failures = 0;
  std::size_t skipped = 0;
  std::string cases;
  for (const CheckedStem& stem : report.stems) {
    std::string inside;
    if (!passes(stem, report)) {
      ++failures;
      inside = fmt::format("    <failure type=\"{}\" message=\"{}\"/>\n", kind_of_failure(stem),
                           xml_text(message_of(stem)));
    } else if (stem.verdict != Verdict::within) {
      ++skipped;
      inside = fmt::format("    <skipped message=\"{}\"/>\n", xml_text(message_of(stem)));
    }
    if (stem.worst_s)
      inside += fmt::format(
          "    <system-out>{:+.3f} ms late at {}, +-{:.1f} us, {} of {} windows clear"
          "</system-out>\n",
          milliseconds(*stem.worst_s), clock_text(stem.worst_at_s), stem.uncertainty_us, stem.clear,
          stem.speaking);
    cases += fmt::format("  <testcase classname=\"{}\" name=\"{}\"", xml_text(report.session),
                         xml_text(stem.name));
    cases += inside.empty() ? "/>\n" : ">\n" + inside + "  </testcase>\n";
  }
  std::size_t tests = report.stems.size();
  if (const Finding* const failure = unmeasured(report)) {
    ++tests;
    ++failures;
    cases += fmt::format(
        "  <testcase classname=\"{}\" name=\"{}\">\n"
        "    <failure type=\"{}\" message=\"{}\"/>\n  </testcase>\n",
        xml_text(report.session), xml_text(report.mix), failure->code, xml_text(failure->text));
  }
  std::string notes;
  for (const Finding& finding : report.findings) notes += xml_text(finding.text) + '\n';
  if (!notes.empty()) notes = "  <system-out>" + notes + "</system-out>\n";
  return fmt::format(
             "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
             "<testsuite name=\"kilter check {}\" tests=\"{}\" failures=\"{}\" errors=\"0\" "
             "skipped=\"{}\">\n",
             xml_text(report.session), tests, failures, skipped) +
         cases + notes + "</testsuite>\n";
}

}  // namespace kilter::report

#include "batch_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <string_view>

#include "kilter/base/clock_text.h"
#include "kilter/report/text_table.h"
#include "kilter/report/xml_text.h"
#include "kilter/session/names.h"

namespace kilter::commands {
namespace {

/// Cells of a session's name: other columns are cut first, for without it a row tells nothing.
constexpr int kWidestName = 60;

/// The higher, the more it asks for a person.
int badness(const BatchOutcome& outcome) {
  if (outcome.is_missing) return 3;
  if (!outcome.record.is_finished()) return 2;
  return outcome.record.exit;
}

const char* word_for(const BatchOutcome& outcome) {
  switch (badness(outcome)) {
    case 3:
      return "not done";
    case 2:
      return "failed";
    case 1:
      return "needs a person";
    default:
      return "done";
  }
}

/// Tracks that are not as they should be.
int off(const BatchRecord& record) {
  int count = 0;
  for (const auto& [standing, tracks] : record.standings)
    if (standing != "firm" && standing != "within" && standing != "left out") count += tracks;
  return count;
}

std::vector<const BatchOutcome*> worst_first(const std::vector<BatchOutcome>& outcomes) {
  std::vector<const BatchOutcome*> sorted;
  sorted.reserve(outcomes.size());
  for (const BatchOutcome& outcome : outcomes) sorted.push_back(&outcome);
  std::stable_sort(sorted.begin(), sorted.end(), [](const BatchOutcome* a, const BatchOutcome* b) {
    if (badness(*a) != badness(*b)) return badness(*a) > badness(*b);
    if (off(a->record) != off(b->record)) return off(a->record) > off(b->record);
    const double a_us = a->record.worst_uncertainty_us.value_or(0.0);
    const double b_us = b->record.worst_uncertainty_us.value_or(0.0);
    if (a_us != b_us) return a_us > b_us;
    return session::comes_before(a->record.name, b->record.name);
  });
  return sorted;
}

/// A finding's code as it reads behind a number: codes that name a thing have a plural.
std::string counted_code(const std::string& code, int count) {
  constexpr std::string_view kThings[] = {"dropout",      "duplicate", "excursion",    "leak",
                                          "mix-copy",     "mix-seam",  "overlap",      "seam",
                                          "missing-part", "lead-in",   "missing-voice"};
  if (count == 1 || std::find(std::begin(kThings), std::end(kThings), code) == std::end(kThings))
    return code;
  return code.ends_with('y') ? code.substr(0, code.size() - 1) + "ies" : code + 's';
}

/// "5 firm, 1 shaky"; `word_for` puts a name as it reads behind its number.
template <typename Word>
std::string counts_text(const std::map<std::string, int>& counts, const Word& word_for) {
  std::string text;
  for (const auto& [name, count] : counts)
    if (count > 0)
      text += fmt::format("{}{} {}", text.empty() ? "" : ", ", count, word_for(name, count));
  return text;
}

std::string standings_text(const BatchRecord& record) {
  return counts_text(record.standings, [](const std::string& name, int) { return name; });
}

/// The error comes last, and what to do next behind it.
std::string error_of(const BatchRecord& record) {
  for (auto line = record.messages.rbegin(); line != record.messages.rend(); ++line)
    if (!line->starts_with("next: ")) return *line;
  return fmt::format("exit {}", record.exit);
}

std::map<std::string, int> counted(const std::vector<BatchOutcome>& outcomes) {
  std::map<std::string, int> counts{
      {"done", 0}, {"needs a person", 0}, {"failed", 0}, {"not done", 0}, {"done before", 0}};
  for (const BatchOutcome& outcome : outcomes) {
    ++counts[word_for(outcome)];
    if (outcome.was_done) ++counts["done before"];
  }
  return counts;
}

std::string summary(const std::vector<BatchOutcome>& outcomes) {
  auto counts = counted(outcomes);
  std::string text = fmt::format("{} session{}: {} done", outcomes.size(),
                                 outcomes.size() == 1 ? "" : "s", counts["done"]);
  if (const int count = counts["needs a person"]; count > 0)
    text += fmt::format(", {} need{} a person", count, count == 1 ? "s" : "");
  if (const int count = counts["failed"]; count > 0) text += fmt::format(", {} failed", count);
  if (const int count = counts["not done"]; count > 0) text += fmt::format(", {} not done", count);
  if (const int count = counts["done before"]; count > 0)
    text += fmt::format("; {} of them by an earlier run", count);
  return text + ".\n";
}

/// What a table has no room for, a paragraph each.
std::string failures_text(const std::vector<const BatchOutcome*>& outcomes) {
  std::string text;
  for (const BatchOutcome* outcome : outcomes) {
    if (badness(*outcome) != 2) continue;
    const std::string told = outcome->record.name + ": " + outcome_note(*outcome);
    text += report::wrapped(report::printable(told), report::kTerminalColumns, 2) + '\n';
  }
  if (!text.empty()) text.insert(text.begin(), '\n');
  return text;
}

}  // namespace

bool needs_a_look(const BatchOutcome& outcome) { return badness(outcome) > 0; }

std::string outcome_note(const BatchOutcome& outcome) {
  if (outcome.is_missing) return "no part has done it";
  if (!outcome.record.is_finished()) return error_of(outcome.record);
  return counts_text(outcome.record.findings, counted_code);
}

std::string batch_text(const std::vector<BatchOutcome>& outcomes, BatchMode mode, int columns) {
  if (outcomes.empty()) return "No session falls into this part.\n";
  std::vector<std::vector<std::string>> rows;
  const auto sorted = worst_first(outcomes);
  for (const BatchOutcome* outcome : sorted) {
    const BatchRecord& record = outcome->record;
    rows.push_back({report::cut_middle(report::printable(record.name), kWidestName),
                    word_for(*outcome), standings_text(record),
                    record.worst_uncertainty_us ? bound_text(*record.worst_uncertainty_us) : "-",
                    outcome->is_missing ? "-" : clock_text(record.seconds, 0),
                    badness(*outcome) == 2 ? "see below" : outcome_note(*outcome)});
  }
  return report::text_table(
             {{"session", ""},
              {"result", ""},
              {mode == BatchMode::check ? "stems" : "tracks", "", false, report::TooWide::fold},
              {"+-", "us", true},
              {"took", "hh:mm:ss", true},
              {"note", "", false, report::TooWide::fold}},
             rows, columns) +
         '\n' + summary(outcomes) + failures_text(sorted);
}

std::string batch_json(const std::vector<BatchOutcome>& outcomes) {
  std::vector<BatchRecord> records;
  for (const BatchOutcome* outcome : worst_first(outcomes)) records.push_back(outcome->record);
  return to_json(records, "kilter batch", counted(outcomes));
}

std::string batch_junit(const std::vector<BatchOutcome>& outcomes, const std::string& name) {
  int failures = 0;
  int errors = 0;
  double seconds = 0.0;
  std::string cases;
  for (const BatchOutcome& outcome : outcomes) {
    const BatchRecord& record = outcome.record;
    seconds += record.seconds;
    cases += fmt::format("  <testcase classname=\"{}\" name=\"{}\" time=\"{:.3f}\"",
                         report::xml_text(name), report::xml_text(record.name), record.seconds);
    const int bad = badness(outcome);
    if (bad == 0) {
      cases += "/>\n";
      continue;
    }
    ++(bad == 1 ? failures : errors);
    const std::string tracks = standings_text(record);
    const std::string note = outcome_note(outcome);
    cases +=
        fmt::format(">\n    <{} type=\"{}\" message=\"{}\"/>\n  </testcase>\n",
                    bad == 1 ? "failure" : "error", word_for(outcome),
                    report::xml_text(tracks + (tracks.empty() || note.empty() ? "" : "; ") + note));
  }
  return fmt::format(
             "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
             "<testsuite name=\"kilter batch {}\" tests=\"{}\" failures=\"{}\" errors=\"{}\" "
             "skipped=\"0\" time=\"{:.3f}\">\n",
             report::xml_text(name), outcomes.size(), failures, errors, seconds) +
         cases + "</testsuite>\n";
}

}  // namespace kilter::commands

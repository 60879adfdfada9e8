// batch.jsonl, as a killed writer or a stranger left it: what --merge tells of it is told, lines
// that are no records are passed over, and the next batch can go on in the file.
#include <algorithm>
#include <nlohmann/json.hpp>
#include <tuple>

#include "batch_log.h"
#include "batch_report.h"
#include "fuzz.h"
#include "support/temporary_folder.h"

namespace kilter::fuzz {
namespace {

namespace fs = std::filesystem;
using namespace commands;

bool are_equal(const BatchRecord& a, const BatchRecord& b) {
  const auto marks_are = [](const InputMark& one, const InputMark& other) {
    return std::tie(one.file, one.bytes, one.time_ns, one.digest) ==
           std::tie(other.file, other.bytes, other.time_ns, other.digest);
  };
  const auto told = [](const BatchRecord& record) {
    return std::tie(record.name, record.folder, record.exit, record.standings,
                    record.worst_uncertainty_us, record.findings, record.seconds, record.threads,
                    record.sound_s, record.ended, record.program, record.options, record.messages);
  };
  return told(a) == told(b) &&
         std::equal(a.inputs.begin(), a.inputs.end(), b.inputs.begin(), b.inputs.end(), marks_are);
}

void require_told(const std::map<std::string, BatchRecord>& records) {
  std::vector<BatchOutcome> outcomes;
  for (const auto& [name, record] : records) {
    require(name == record.name, "records go by their names");
    const auto again = record_from_line(to_line(record));
    require(again && are_equal(*again, record), "a record is written as it was read");
    outcomes.push_back({record, false, false});
  }
  const std::string json = batch_json(outcomes);
  require(nlohmann::json::accept(json), "the document is JSON");
  require(!batch_text(outcomes, BatchMode::conform, 80).empty(), "the table is not empty");
  for (const char letter : batch_junit(outcomes, "shows"))
    require(static_cast<unsigned char>(letter) >= 0x20 || letter == '\n', "XML holds no controls");
}

}  // namespace

void try_input(Input input) {
  const fs::path done = folder() / "done";
  fs::create_directories(done);
  put_file("done/batch.jsonl", input.rest());
  const auto records = records_in(done, BatchMode::conform);
  require(static_cast<bool>(records), "a broken line is no failure");
  require_told(*records);

  {
    auto log = BatchLog::open(done, BatchMode::conform, std::nullopt);
    require(log && log->settle(), "a batch can go on");
  }
  const auto settled = records_in(done, BatchMode::conform);
  require(settled && settled->size() == records->size(), "no session is lost");
  const std::string text = test::read_text(done / "batch.jsonl");
  require(std::count(text.begin(), text.end(), '\n') == std::ssize(*records), "one line for each");
}

}  // namespace kilter::fuzz

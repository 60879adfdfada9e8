// The file of a batch's records: what a killed or a second writer may do to it.
#include "batch_log.h"

#include <gtest/gtest.h>

#include <string>

#include "support/calls_that_fail.h"
#include "support/replaced_file_calls.h"
#include "support/temporary_folder.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;

BatchRecord record(const std::string& name, int exit, const std::string& ended) {
  BatchRecord record;
  record.name = name;
  record.folder = name;
  record.exit = exit;
  record.standings = {{"firm", 3}, {"shaky", 1}};
  record.worst_uncertainty_us = 12.25;
  record.findings = {{"seam", 2}};
  record.seconds = 1.5;
  record.threads = 2;
  record.sound_s = 90.0;
  record.ended = ended;
  record.program = "0.1.0";
  record.options = {"--bits 16"};
  record.inputs = {{"mic \"1\".wav", 1234, 1795729964925443044, "56e5f090c17e9bf3"}};
  record.messages = {"one\ttwo", "next: three"};
  return record;
}

class BatchLogTest : public testing::Test {
 protected:
  fs::path dir() const { return home_ / "done"; }
  fs::path file() const { return dir() / "batch.jsonl"; }
  Result<BatchLog> open(const std::optional<BatchShare>& only = {}) const {
    return BatchLog::open(dir(), BatchMode::conform, only, std::chrono::milliseconds(0));
  }
  test::TemporaryFolder home_;
};

TEST(BatchRecordTest, ReadsItsLineBack) {
  const std::string line = to_line(record("hour \"1\"", 1, "2026-01-02T03:04:05.000006Z"));
  EXPECT_EQ(line.find('\n'), line.size() - 1);
  const auto read = record_from_line(line);
  ASSERT_TRUE(read);
  EXPECT_EQ(to_line(*read), line);
  EXPECT_EQ(read->inputs.at(0).time_ns, 1795729964925443044);
}

TEST(BatchRecordTest, TakesNoOtherLine) {
  const std::string line = to_line(record("hour", 0, "2026"));
  EXPECT_FALSE(record_from_line(""));
  EXPECT_FALSE(record_from_line("[]"));
  EXPECT_FALSE(record_from_line("{\"kind\":\"kilter batch session\"}"));
  for (std::size_t length = 1; length + 2 < line.size(); ++length)
    EXPECT_FALSE(record_from_line(line.substr(0, length))) << length;
}

TEST(BatchRecordTest, TakesNoValueThatNoBatchWrites) {
  const std::string line = to_line(record("hour", 1, "2026"));
  struct Change {
    const char *from, *to;
  };
  for (const auto& [from, to] :
       {Change{"\"exit\":1", "\"exit\":1e300"}, Change{"\"exit\":1", "\"exit\":-1"},
        Change{"\"exit\":1", "\"exit\":true"}, Change{"\"seam\":2", "\"seam\":2147483648"},
        Change{"\"seconds\":1.5", "\"seconds\":1e308"},
        Change{"\"sound_s\":90.0", "\"sound_s\":-1"}, Change{"\"threads\":2", "\"threads\":2.5"},
        Change{"\"bytes\":1234", "\"bytes\":-1234"},
        Change{"\"findings\":{\"seam\":2}", "\"findings\":[]"}}) {
    std::string changed = line;
    ASSERT_NE(changed.find(from), std::string::npos) << from;
    changed.replace(changed.find(from), std::string(from).size(), to);
    EXPECT_FALSE(record_from_line(changed)) << to;
  }
}

TEST_F(BatchLogTest, RepairsATornLineWhereverItIsTorn) {
  const std::string whole = to_line(record("first", 0, "2026-1"));
  const std::string second = to_line(record("second", 0, "2026-2"));
  const std::string third = to_line(record("third", 0, "2026-3"));
  for (const std::size_t length : {std::size_t{1}, second.size() / 2, second.size() - 1}) {
    fs::create_directories(dir());
    test::write_text(file(), whole + second.substr(0, length));
    auto log = open();
    ASSERT_TRUE(log);
    ASSERT_TRUE(log->append(record("third", 0, "2026-3")));
    // All of it but the line end was there: it counts.
    const std::string kept = length == second.size() - 1 ? second : "";
    EXPECT_EQ(test::read_text(file()), whole + kept + third) << length;
  }
}

TEST_F(BatchLogTest, SettlesToTheLatestOfEachSessionInOrder) {
  auto log = open();
  ASSERT_TRUE(log);
  for (const auto& [name, exit] : std::initializer_list<std::pair<const char*, int>>{
           {"hour-10", 0}, {"hour-2", 3}, {"hour-1", 0}, {"hour-2", 1}})
    ASSERT_TRUE(log->append(record(name, exit, "2026")));
  ASSERT_TRUE(log->settle());
  EXPECT_EQ(test::read_text(file()), to_line(record("hour-1", 0, "2026")) +
                                         to_line(record("hour-2", 1, "2026")) +
                                         to_line(record("hour-10", 0, "2026")));
}

TEST_F(BatchLogTest, HasOneWriterAndLetsGoAfterwards) {
  {
    const auto log = open();
    ASSERT_TRUE(log);
    const auto other = open();
    ASSERT_FALSE(other);
    EXPECT_EQ(other.error().kind, ErrorKind::cannot_write);
    EXPECT_FALSE(open(BatchShare{1, 2}));
  }
  EXPECT_TRUE(open());
}

TEST_F(BatchLogTest, LetsDifferentPartsWriteSideBySide) {
  const auto first = open(BatchShare{1, 2});
  const auto second = open(BatchShare{2, 2});
  ASSERT_TRUE(first);
  ASSERT_TRUE(second);
  EXPECT_FALSE(open(BatchShare{2, 2}));
  EXPECT_FALSE(open());
  EXPECT_TRUE(fs::exists(dir() / "batch.1-of-2.jsonl"));
}

TEST_F(BatchLogTest, TellsTheLatestOfAllParts) {
  fs::create_directories(dir());
  test::write_text(file(), to_line(record("a", 3, "2026-1")) + to_line(record("b", 0, "2026-5")));
  test::write_text(dir() / "batch.1-of-2.jsonl", to_line(record("a", 0, "2026-2")) +
                                                     to_line(record("b", 3, "2026-4")) +
                                                     "{\"kind\":\"kilter batch se");
  test::write_text(dir() / "batch.check.jsonl", to_line(record("a", 1, "2026-9")));
  test::write_text(dir() / "batch.notes.jsonl", to_line(record("a", 1, "2026-9")));
  const auto records = records_in(dir(), BatchMode::conform);
  ASSERT_TRUE(records);
  ASSERT_EQ(records->size(), 2U);
  EXPECT_EQ(records->at("a").exit, 0);
  EXPECT_EQ(records->at("b").exit, 0);
}

TEST_F(BatchLogTest, TellsTheLastOfALogThoughTheClockWasSetBack) {
  fs::create_directories(dir());
  test::write_text(file(), to_line(record("a", 3, "2026-5")) + to_line(record("a", 0, "2026-1")));
  const auto records = records_in(dir(), BatchMode::conform);
  ASSERT_TRUE(records);
  EXPECT_EQ(records->at("a").exit, 0);
}

TEST_F(BatchLogTest, KeepsWholeLinesWhereTheDiskIsFull) {
  auto log = open();
  ASSERT_TRUE(log);
  ASSERT_TRUE(log->append(record("a", 0, "2026")));
  const std::string before = test::read_text(file());
  test::CallsThatFail calls(1, ENOSPC);
  const test::ReplacedFileCalls replaced(calls);
  const auto appended = log->append(record("b", 0, "2026"));
  ASSERT_FALSE(appended);
  EXPECT_EQ(appended.error().kind, ErrorKind::cannot_write);
  EXPECT_EQ(test::read_text(file()), before);
}

}  // namespace
}  // namespace kilter::commands

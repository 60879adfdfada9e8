#include "console.h"

#include <gtest/gtest.h>

#include <new>
#include <sstream>
#include <stdexcept>

namespace kilter::commands {
namespace {

struct ErrorCase {
  const char* name;
  Error error;
  const char* text;
  Exit exit;
};

class ErrorTexts : public testing::TestWithParam<ErrorCase> {};

TEST_P(ErrorTexts, SayWhatWhichFileAndWhatNext) {
  EXPECT_EQ(error_text(GetParam().error), GetParam().text);
  EXPECT_EQ(exit_for(GetParam().error), GetParam().exit);
}

INSTANTIATE_TEST_SUITE_P(
    Cases, ErrorTexts,
    testing::Values(
        ErrorCase{"Unreadable",
                  {ErrorKind::unreadable, "guest-2.wav", "not a format we know", "convert it"},
                  "kilter: cannot read \"guest-2.wav\": not a format we know\n  next: convert it\n",
                  Exit::no_input},
        ErrorCase{"CannotWrite",
                  {ErrorKind::cannot_write, "out", "the disk is full", "make room"},
                  "kilter: cannot write \"out\": the disk is full\n  next: make room\n",
                  Exit::cannot_write},
        ErrorCase{"ASentenceThatGoesOn",
                  {ErrorKind::cannot_write, "out", "cannot be made (no rights)", ""},
                  "kilter: \"out\" cannot be made (no rights)\n",
                  Exit::cannot_write},
        ErrorCase{"NoFile",
                  {ErrorKind::bad_command, {}, "no command given", "read kilter --help"},
                  "kilter: no command given\n  next: read kilter --help\n",
                  Exit::bad_command},
        ErrorCase{"NoInput",
                  {ErrorKind::no_input, "shows", "no audio files in this folder", ""},
                  "kilter: \"shows\": no audio files in this folder\n",
                  Exit::no_input},
        ErrorCase{"ControlCharacters",
                  {ErrorKind::unreadable, "a\x1b[2J.wav", "the file is empty", ""},
                  "kilter: cannot read \"a?[2J.wav\": the file is empty\n",
                  Exit::no_input},
        ErrorCase{"Interrupted",
                  {ErrorKind::interrupted, {}, "interrupted", ""},
                  "kilter: interrupted\n",
                  Exit::interrupted}),
    [](const auto& each) { return each.param.name; });

class ConsoleTest : public testing::Test {
 protected:
  const std::atomic<bool> stop_{false};
  std::ostringstream out_;
  std::ostringstream err_;
};

TEST_F(ConsoleTest, RewritesOneLineAndOnlyWhenItChanges) {
  Console console(out_, err_, true, stop_);
  console.progress("reading", 0.101);
  console.progress("reading", 0.102);
  console.progress("fit", 0.5);
  EXPECT_EQ(err_.str(), "\rreading 10 %\rfit 50 %    ");
}

TEST_F(ConsoleTest, KeepsTheProgressWithinOneLineOfTheTerminal) {
  Console console(out_, err_, true, stop_, steady_seconds, {80, 16});
  console.progress("looking into the seams", 0.5);
  EXPECT_EQ(err_.str(), "\rlookin...s 50 %");
}

TEST_F(ConsoleTest, OffersTablesTheWidthOfTheTerminalAndNoLessThanEighty) {
  EXPECT_EQ(Console(out_, err_, true, stop_).columns(), 80);
  EXPECT_EQ(Console(out_, err_, true, stop_, steady_seconds, {132, 80}).columns(), 132);
  EXPECT_EQ(Console(out_, err_, true, stop_, steady_seconds, {40, 80}).columns(), 80);
}

TEST_F(ConsoleTest, TellsTheTimeLeftOnceItCanBeGuessed) {
  double now_s = 100.0;
  Console console(out_, err_, true, stop_, [&] { return now_s; });
  const auto shown = [&](double at_s, const char* stage, double done) {
    now_s = at_s;
    err_.str("");
    console.progress(stage, done);
    const std::string text = err_.str();
    return text.substr(1, text.find_last_not_of(' '));
  };
  EXPECT_EQ(shown(100.0, "reading", 0.0), "reading 0 %");
  EXPECT_EQ(shown(102.0, "reading", 0.1), "reading 10 %");
  EXPECT_EQ(shown(104.0, "reading", 0.2), "reading 20 %, about 20 s left");  // 16 s
  EXPECT_EQ(shown(200.0, "reading", 0.25), "reading 25 %, about 5 min left");
  // Another stage goes at another pace, and may begin amid.
  EXPECT_EQ(shown(201.0, "writing", 0.5), "writing 50 %");
  EXPECT_EQ(shown(211.0, "writing", 0.75), "writing 75 %, about 10 s left");
  EXPECT_EQ(shown(221.0, "writing", 1.0), "writing 100 %");
}

TEST_F(ConsoleTest, ClearsTheLineBeforeResultsAndErrors) {
  Console console(out_, err_, true, stop_);
  console.progress("fit", 1.0);
  ASSERT_TRUE(console.print("table\n"));
  EXPECT_EQ(out_.str(), "table\n");
  EXPECT_EQ(err_.str(), "\rfit 100 %\r         \r");
  console.report({ErrorKind::no_input, {}, "nothing", ""});
  EXPECT_EQ(err_.str(), "\rfit 100 %\r         \rkilter: nothing\n");
}

TEST_F(ConsoleTest, ShowsNoProgressWhereNobodyLooks) {
  Console console(out_, err_, false, stop_);
  console.progress("reading", 0.5);
  ASSERT_TRUE(console.print("table\n"));
  EXPECT_EQ(err_.str(), "");
}

TEST_F(ConsoleTest, TellsNothingTwice) {
  Console console(out_, err_, false, stop_);
  const Error error{ErrorKind::unreadable, "guest.wav", "the file is empty", "copy it again"};
  console.report(error);
  const std::string once = err_.str();
  console.report(error);
  console.warn("the lamp is out", "light it");
  console.warn("the lamp is out", "light it");
  EXPECT_EQ(err_.str(), once + message_text("the lamp is out", "light it"));
}

TEST_F(ConsoleTest, WarnsOfWhatIsNoFailure) {
  Console console(out_, err_, true, stop_);
  console.progress("fit", 1.0);
  console.warn("\"mate\" may be 2 ms off", "listen to it");
  EXPECT_EQ(err_.str(),
            "\rfit 100 %\r         \rkilter: \"mate\" may be 2 ms off\n  next: listen to it\n");
}

TEST_F(ConsoleTest, FailsWhenResultsCannotBeDelivered) {
  Console console(out_, err_, false, stop_);
  out_.setstate(std::ios::badbit);
  const auto printed = console.print("table\n");
  ASSERT_FALSE(printed);
  EXPECT_EQ(printed.error().kind, ErrorKind::cannot_write);
}

TEST(Exceptions, AreOursUnlessMemoryRanOut) {
  std::ostringstream memory;
  try {
    throw std::bad_alloc();
  } catch (...) {
    EXPECT_EQ(tell_exception(memory), 71);
  }
  EXPECT_EQ(memory.str().find("kilter: memory ran out\n"), 0U) << memory.str();
  std::ostringstream bug;
  try {
    throw std::runtime_error("odd");
  } catch (...) {
    EXPECT_EQ(tell_exception(bug), 70);
  }
  EXPECT_EQ(bug.str().find("kilter: a bug of ours: odd\n"), 0U) << bug.str();
}

}  // namespace
}  // namespace kilter::commands

#include "options.h"

#include <gtest/gtest.h>

namespace kilter::commands {
namespace {

std::string line_of(const std::vector<std::string>& args) {
  const auto parsed = parse_options(args);
  return parsed ? std::get<Options>(*parsed).line : parsed.error().what;
}

TEST(CommandLine, IsKeptAsTypedButForWhatChangesNoResult) {
  EXPECT_EQ(line_of({"conform", "show", "--threads", "3", "--out", "done", "--clock", "keeper",
                     "--quiet", "--json", "--replace"}),
            "kilter conform show --clock keeper");
  EXPECT_EQ(line_of({"conform", "--threads=3", "--out=done", "show", "--bits=16"}),
            "kilter conform show --bits=16");
}

TEST(CommandLine, IsKeptInWordsThatAShellTakes) {
  EXPECT_EQ(line_of({"conform", "hour 12/it's $HOME", "--out", "done"}),
            "kilter conform 'hour 12/it'\\''s $HOME'");
}

}  // namespace
}  // namespace kilter::commands

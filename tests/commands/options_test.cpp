#include "options.h"

#include <gtest/gtest.h>

namespace kilter::commands {
namespace {

std::string line_of(const std::vector<std::string>& args) {
  const auto parsed = parse_options(args);
  return parsed ? std::get<Options>(*parsed).line : parsed.error().what;
}

TEST(CommandLine, IsKeptAsTypedButForWhatChangesNoResult) {
  EXPECT_EQ(line_of({"conform", "show", "--threads", "3", "--out", "done", "--quiet", "--json"}),
            "kilter conform show --out done");
  EXPECT_EQ(line_of({"conform", "show", "--threads=3", "--out=done"}),
            "kilter conform show --out=done");
}

TEST(CommandLine, IsKeptInWordsThatAShellTakes) {
  EXPECT_EQ(line_of({"conform", "hour 12/it's $HOME", "--out", "done"}),
            "kilter conform 'hour 12/it'\\''s $HOME' --out done");
}

}  // namespace
}  // namespace kilter::commands

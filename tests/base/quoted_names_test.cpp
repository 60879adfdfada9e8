#include "kilter/base/quoted_names.h"

#include <gtest/gtest.h>

namespace kilter {
namespace {

TEST(QuotedNames, AreListedAsASentenceListsThem) {
  EXPECT_EQ(quoted_names({}), "");
  EXPECT_EQ(quoted_names({"cook"}), "\"cook\"");
  EXPECT_EQ(quoted_names({"cook", "mate"}), "\"cook\" and \"mate\"");
  EXPECT_EQ(quoted_names({"cook", "keeper", "mate"}, "or"), "\"cook\", \"keeper\" or \"mate\"");
}

}  // namespace
}  // namespace kilter

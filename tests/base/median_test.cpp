#include "kilter/base/median.h"

#include <gtest/gtest.h>

namespace kilter {
namespace {

TEST(Median, IsTheOneInTheMiddleOfAnOddNumber) {
  EXPECT_EQ(median(std::vector<int>{5, 1, 3}), 3);
  EXPECT_EQ(lower_median(std::vector<int>{5, 1, 3}), 3);
  EXPECT_EQ(lower_median(std::vector<int>{7}), 7);
}

TEST(Median, IsTheUpperOrTheLowerOfTheTwoInTheMiddleOfAnEvenNumber) {
  EXPECT_EQ(median(std::vector<int>{8, 2, 6, 4}), 6);
  EXPECT_EQ(lower_median(std::vector<int>{8, 2, 6, 4}), 4);
}

TEST(OfRank, CountsFromTheLeast) {
  EXPECT_EQ(of_rank(std::vector<int>{8, 2, 6, 4}, 0), 2);
  EXPECT_EQ(of_rank(std::vector<int>{8, 2, 6, 4}, 3), 8);
}

}  // namespace
}  // namespace kilter

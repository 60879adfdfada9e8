#pragma once

#include "kilter/base/file_calls.h"

namespace kilter::test {

/// While it lives, files opened use `calls`.
class ReplacedFileCalls {
 public:
  explicit ReplacedFileCalls(FileCalls& calls) { replace_file_calls(&calls); }
  ReplacedFileCalls(const ReplacedFileCalls&) = delete;
  ReplacedFileCalls& operator=(const ReplacedFileCalls&) = delete;
  ~ReplacedFileCalls() { replace_file_calls(nullptr); }
};

}  // namespace kilter::test

#!/bin/sh
# soak_test.sh JUDGE.AWK: what the soak's judge calls growth, and what it does not.
set -eu
judge=$1
failures=0

# judged EXPECTED WHAT FORMULA: 400 samples, a field by each expression in awk's terms of i.
judged() {
  expected=$1 what=$2 batch_kb=$3 batch_fds=$4 session_kb=$5 session_fds=$6
  code=0
  told=$(awk "BEGIN { for (i = 0; i < 400; i++) print i / 2, int($batch_kb), int($batch_fds), int($session_kb), int($session_fds) }" |
    awk -f "$judge") || code=$?
  [ $code = "$expected" ] && return
  echo "$what: exit $code in place of $expected"
  echo "$told"
  failures=$((failures + 1))
}
judged 0 "what stays" 30000 9 "50000 + 9000 * (i % 7)" "14 + i % 3"
judged 0 "sessions that are not there between others" 30000 9 "i % 3 ? 50000 : 0" "i % 3 ? 14 : 0"
judged 1 "a batch that grows by 40 KB a sample" "30000 + 40 * i" 9 50000 14
judged 1 "a descriptor left open every hundred samples" 30000 "9 + i / 100" 50000 14
judged 1 "sessions that begin with what others left" 30000 9 "50000 + 60 * i" 14
judged 1 "sessions that inherit descriptors" 30000 9 50000 "14 + i / 100"
judged 1 "a single peak near the end" 30000 9 "i == 390 ? 90000 : 50000" 14
judged 1 "no session seen" 30000 9 0 0
[ $failures = 0 ] && echo "eight runs judged as they should be"

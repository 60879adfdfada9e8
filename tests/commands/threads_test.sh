#!/bin/sh
# threads_test.sh KILTER KILTER-SIMULATE: every command over a short session in one thread and in
# more, which gives the same bytes. Under the thread sanitizer a race ends it with exit code 66.
set -eu
kilter=$1 simulate=$2
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cd "$folder"

fail() {
  echo "FAILED: $*" >&2
  exit 1
}
"$simulate" --out shows/hour-1 --truth truth.json --seed 2 --minutes 0.5 --room 2 --remote 1 \
  --room-rate 16000 --remote-rates 16000 --mix-rate 16000 --threads 3 >/dev/null
cp -r shows/hour-1 shows/hour-2
for threads in 1 2 4; do
  mkdir $threads
  for command in "survey shows/hour-1 --html $threads/s.html" "align shows/hour-1 --lineup $threads/l.json" \
    "conform shows/hour-1 --out $threads/done --clips" "check $threads/done --junit $threads/check.xml" \
    "batch shows --out $threads/many --jobs 2"; do
    code=0
    # shellcheck disable=SC2086  # words are meant
    "$kilter" $command --threads $threads --quiet >told 2>&1 || code=$?
    [ $code -le 1 ] || fail "exit $code: $command --threads $threads: $(cat told)"
  done
  # Times of making, and of work, are no part of a result; nor is the name that we gave the folder.
  (cd $threads && find . -type f ! -name '*.adl' ! -name 'batch*' ! -name '*.html' ! -name check.xml \
    -exec cksum {} + | sort -k3) >$threads.sums
  cmp -s 1.sums $threads.sums || fail "other bytes in $threads threads: $(diff 1.sums $threads.sums)"
done
echo "$(wc -l <1.sums) files alike in 1, 2 and 4 threads"

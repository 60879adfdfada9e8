#!/bin/sh
# kill -9 at ten moments each of a first run and of one that replaces a result: what stands under the folder's name is whole, the old or the
# new result, or nothing; and the next run just works.
#   kill_test.sh KILTER KILTER-SIMULATE
set -eu
kilter=$1 simulate=$2
folder=$(mktemp -d)
session=$folder/show
trap 'rm -rf "$folder"' EXIT

fail() {
  echo "FAILED: $*" >&2
  exit 1
}
# Every file below a folder with its sum; the date of a list is the minute's, not the result's.
sums() {
  (cd "$1" && find . -type f ! -path '*/.*' ! -name '*.adl' -exec cksum {} + | sort -k3)
}

# So short a session may need a person: that is no failure here.
run() {
  code=0
  "$kilter" "$@" --quiet >/dev/null 2>&1 || code=$?
  [ $code -le 1 ]
}
conform() {
  run conform "$session" --lineup "$folder/show.lineup.json" "$@"
}
"$simulate" --out "$session" --seed 1 --minutes 0.75 --room 2 --remote 1 >/dev/null
run align "$session" --lineup "$folder/show.lineup.json" || fail "the session cannot be aligned"
conform --out "$folder/old" --bits 16
conform --out "$folder/new"
sums "$folder/old" >"$folder/old.sums"
sums "$folder/new" >"$folder/new.sums"
cmp -s "$folder/old.sums" "$folder/new.sums" && fail "both results are the same: nothing could be told"

# Thousandths of a second that a run takes: as many as three seconds hold, from a tick of the clock on,
# for what `date` tells everywhere are whole seconds.
start=$(date +%s)
while [ "$(date +%s)" -eq "$start" ]; do :; done
start=$(date +%s) runs=0
while [ $(($(date +%s) - start)) -lt 3 ]; do
  rm -rf "$folder/timed"
  conform --out "$folder/timed"
  runs=$((runs + 1))
done
took=$((($(date +%s) - start) * 1000 / runs))
killed=0
for i in 1 2 3 4 5 6 7 8 9 10; do
  # Evenly over the run and a little beyond, in an order that mixes early and late.
  delay=$(awk -v took="$took" -v i="$i" 'BEGIN { printf "%.3f", took * ((i * 7 % 10) + 0.5) / 9500 }')
  for replaced in no yes; do
    out=$folder/out-$i-$replaced
    [ $replaced = no ] || cp -R "$folder/old" "$out"
    "$kilter" conform "$session" --lineup "$folder/show.lineup.json" --quiet --out "$out" --replace \
      >/dev/null 2>&1 &
    sleep "$delay"
    kill -9 $! 2>/dev/null && killed=$((killed + 1))
    wait $! 2>/dev/null || true
    if [ -f "$out/lineup.json" ]; then
      sums "$out" >"$folder/left.sums"
      cmp -s "$folder/left.sums" "$folder/new.sums" || cmp -s "$folder/left.sums" "$folder/old.sums" ||
        fail "after $delay s, replacing: $replaced: what is left is neither the old result nor the new"
    elif [ $replaced = no ]; then
      [ ! -e "$out" ] || fail "after $delay s: a folder without a lineup"
    fi
    conform --out "$out" --replace || fail "after $delay s, replacing: $replaced: the next run fails"
    sums "$out" >"$folder/left.sums"
    cmp -s "$folder/left.sums" "$folder/new.sums" || fail "after $delay s: the next run gives something else"
    [ -z "$(find "$folder" -name '*.part*')" ] || fail "after $delay s: parts are left: $(find "$folder" -name '*.part*')"
    rm -rf "$out"
  done
done
echo "killed $killed of 20 runs"
[ $killed -ge 5 ] || fail "too few runs were still going on"

#!/bin/sh
# kill -9 at moments all over a batch: the run after it ends in the state of a run that nobody
# disturbed, and does nothing twice that is done.
#   batch_kill_test.sh KILTER KILTER-SIMULATE
set -eu
kilter=$1 simulate=$2
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT

fail() {
  echo "FAILED: $*" >&2
  exit 1
}
# Every file with its sum; dates, and how long something took, are no part of a result.
sums() {
  (cd "$1" && find . -type f ! -name '*.adl' ! -name batch.jsonl -exec cksum {} + | sort -k3)
  sed 's/"seconds":[^,]*,//; s/"threads":[^,]*,//; s/"ended":[^,]*,//' "$1/batch.jsonl"
}
batch() {
  code=0
  "$kilter" batch "$folder/shows" --out "$1" --jobs 2 --threads 2 --quiet >"$folder/told" 2>&1 || code=$?
  [ $code -le 1 ] || fail "exit code $code: $(cat "$folder/told")"
}

for i in 1 2 3; do
  "$simulate" --out "$folder/shows/hour-$i" --truth "$folder/truth.json" --seed $i --minutes 0.6 \
    --room 2 --remote 1 --room-rate 16000 --remote-rates 16000 --mix-rate 16000 >/dev/null
done
mkdir "$folder/shows/broken"
echo "no sound" >"$folder/shows/broken/mixdown.wav"
echo "no sound" >"$folder/shows/broken/keeper.wav"

before=$(date +%s%N 2>/dev/null)
batch "$folder/whole"
case $before in
  *N) took=2000 ;; # a date that knows whole seconds only
  *) took=$((($(date +%s%N) - before) / 1000000)) ;;
esac
sums "$folder/whole" >"$folder/whole.sums"

killed=0
for i in 1 2 3 4 5 6; do
  out=$folder/out-$i
  # Twice each, so that a run that goes on is killed too.
  for round in 1 2; do
    delay=$(awk -v took="$took" -v i="$i" -v round="$round" \
      'BEGIN { printf "%.3f", took * ((i * 5 + round * 3) % 7 + 0.5) / 8000 }')
    "$kilter" batch "$folder/shows" --out "$out" --jobs 2 --threads 2 --quiet >/dev/null 2>&1 &
    pid=$!
    sleep "$delay"
    kill -9 $pid 2>/dev/null && killed=$((killed + 1))
    wait $pid 2>/dev/null || true
  done
  # As a power cut may leave it.
  [ ! -f "$out/batch.jsonl" ] || printf '{"kind":"kilter batch ses' >>"$out/batch.jsonl"
  batch "$out"
  sums "$out" >"$folder/out.sums"
  cmp -s "$folder/out.sums" "$folder/whole.sums" ||
    fail "after $delay s: $(diff "$folder/out.sums" "$folder/whole.sums")"
  [ -z "$(find "$out" -name '*.part*')" ] || fail "after $delay s: parts are left: $(find "$out" -name '*.part*')"
  batch "$out"
  grep -q "3 of them by an earlier run" "$folder/told" || fail "what is done is done again: $(cat "$folder/told")"
  rm -rf "$out"
done
# A signal to the batch alone reaches its sessions, which leave nothing behind.
# wait_for_work: until the first session is being written to $out, or four seconds.
wait_for_work() {
  tries=0
  until [ -d "$out/hour-1.part" ] || [ $tries = 200 ]; do
    sleep 0.02
    tries=$((tries + 1))
  done
}

stopped=0
for signal in INT TERM; do
  out=$folder/out-$signal
  "$kilter" batch "$folder/shows" --out "$out" --jobs 2 --threads 2 --quiet >/dev/null 2>"$folder/told" &
  pid=$!
  wait_for_work
  kill -s $signal $pid
  code=0
  wait $pid || code=$?
  case $code in
    130) stopped=$((stopped + 1)) ;;
    1) ;; # it had ended
    *) fail "exit code $code on $signal: $(cat "$folder/told")" ;;
  esac
  [ -z "$(find "$out" -name '*.part*')" ] || fail "parts are left on $signal: $(find "$out" -name '*.part*')"
  batch "$out"
  sums "$out" >"$folder/out.sums"
  cmp -s "$folder/out.sums" "$folder/whole.sums" || fail "after $signal the next run gives something else"
done
# One session's process that crashes costs that session and no other.
out=$folder/out-crash
"$kilter" batch "$folder/shows" --out "$out" --threads 1 --quiet >"$folder/told" 2>&1 &
pid=$!
wait_for_work
crashed=$(ps -A -o pid= -o ppid= | awk -v boss=$pid '$2 == boss { print $1 }')
[ -n "$crashed" ] || fail "no process of the session's own"
kill -s SEGV "$crashed"
code=0
wait $pid || code=$?
[ $code = 1 ] || fail "exit code $code after a session's crash: $(cat "$folder/told")"
[ "$(grep -c '"exit":139' "$out/batch.jsonl")" = 1 ] || fail "the crash is not told: $(cat "$out/batch.jsonl")"
for other in hour-2 hour-3; do
  [ -f "$out/$other/lineup.json" ] || fail "$other is not done"
done
batch "$out"
sums "$out" >"$folder/out.sums"
cmp -s "$folder/out.sums" "$folder/whole.sums" || fail "after a crash the next run gives something else"
[ $stopped -ge 1 ] || fail "no run was interrupted"
echo "killed $killed of 12 runs, interrupted $stopped of 2"
[ $killed -ge 4 ] || fail "too few runs were still going on"

#!/bin/sh
# interrupt_test.sh KILTER SIGNAL: a signal ends the program with 130, and nothing is left behind.
set -eu
kilter=$1 signal=$2
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
mkdir "$folder/show" "$folder/scratch"

# Sparse files of hours of silence: more than any machine decodes before the signal comes.
for name in keeper mixdown; do
  # RIFF, fmt (PCM, mono, 48 kHz, 16 bit), and data of 2000000000 bytes
  printf 'RIFF\044\224\065\167WAVEfmt \020\000\000\000\001\000\001\000\200\273\000\000\000\167\001\000\002\000\020\000data\000\224\065\167' \
    >"$folder/show/$name.wav"
  dd if=/dev/zero of="$folder/show/$name.wav" bs=1 count=1 seek=2000000043 2>/dev/null
done

cd "$folder"
TMPDIR=$folder/scratch "$kilter" conform show --out stems >out 2>err &
pid=$!
# Wait until it is at work: its staging folder is there.
tries=0
until [ -d stems.part ] || [ $tries = 100 ]; do
  sleep 0.1
  tries=$((tries + 1))
done
kill -s "$signal" $pid
exit_code=0
wait $pid || exit_code=$?

failures=0
expect() {  # WHAT EXPECTED GOT
  [ "$2" = "$3" ] && return
  echo "$1: expected '$2', got '$3'"
  failures=1
}
expect "exit code" 130 $exit_code
expect "standard output" "" "$(cat out)"
expect "standard error" "kilter: interrupted" "$(cat err)"
expect "left behind" "err out scratch show" "$(ls | tr '\n' ' ' | sed 's/ $//')"
expect "left in TMPDIR" "" "$(ls -A scratch)"
exit $failures

#!/bin/sh
# closed_pipe_test.sh KILTER: results that nobody reads are a failure to write, told and cleaned up.
set -eu
kilter=$1
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
mkdir "$folder/show" "$folder/scratch"
for name in keeper mixdown; do
  # RIFF, fmt (PCM, mono, 48 kHz, 16 bit), and data of 96000 bytes
  printf 'RIFF\044\167\001\000WAVEfmt \020\000\000\000\001\000\001\000\200\273\000\000\000\167\001\000\002\000\020\000data\000\167\001\000' \
    >"$folder/show/$name.wav"
  dd if=/dev/urandom bs=96000 count=1 2>/dev/null >>"$folder/show/$name.wav"
done

cd "$folder"
mkfifo pipe
: <pipe &  # opens the pipe and closes it
exec 3>pipe
wait
exit_code=0
TMPDIR=$folder/scratch "$kilter" survey show >&3 2>err || exit_code=$?

failures=0
expect() {  # WHAT EXPECTED GOT
  [ "$2" = "$3" ] && return
  echo "$1: expected '$2', got '$3'"
  failures=1
}
expect "exit code" 4 $exit_code
expect "standard error" \
  "kilter: the results cannot be written to standard output" "$(head -n 1 err)"
expect "left behind" "err pipe scratch show" "$(ls | tr '\n' ' ' | sed 's/ $//')"
expect "left in TMPDIR" "" "$(ls -A scratch)"

# A stream that is closed from the start gives its place to no file of ours.
exit_code=0
TMPDIR=$folder/scratch "$kilter" batch "$folder" --out out --quiet >&- 2>err || exit_code=$?
expect "exit code of a batch" 4 $exit_code
expect "standard error of a batch" \
  "kilter: the results cannot be written to standard output" "$(grep results err)"
expect "lines of batch.jsonl that are no records" "" "$(grep -v '^{.*}$' out/batch.jsonl || true)"
exit $failures

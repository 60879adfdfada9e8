#!/bin/sh
# simulate_command_test.sh KILTER_SIMULATE: what the command writes, and its exit codes.
set -eu
simulate=$1
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
failures=0

# expect EXIT_CODE ARGUMENT...
expect() {
  wanted=$1
  shift
  code=0
  "$simulate" "$@" >said 2>&1 || code=$?
  [ $code = "$wanted" ] && return
  echo "kilter-simulate $*: exit $code, expected $wanted:"
  cat said
  failures=$((failures + 1))
}

# check WHAT COMMAND...
check() {
  what=$1
  shift
  "$@" >checked 2>&1 && return
  echo "not so: $what"
  cat checked
  failures=$((failures + 1))
}

expect 0 --help
check "help names the options" grep -q -e --stream-codec said
small="--minutes 0.1 --room 2 --remote 1"
# shellcheck disable=SC2086  # words are meant
expect 0 --out one $small --seed 3 --threads 1 --flac --bits 16
# shellcheck disable=SC2086
expect 0 --out two $small --seed 3 --threads 3 --flac --bits 16
check "the same seed gives the same bytes" diff -r one two
for file in keeper.flac mate.flac pilot.flac mixdown.flac truth.json; do
  check "there is a $file" test -s "one/$file"
done
# shellcheck disable=SC2086
expect 0 --out three $small --seed 4 --flac --bits 16 --truth elsewhere.json
one=$(cksum <one/mixdown.flac)
three=$(cksum <three/mixdown.flac)
check "another seed is another session" test "$one" != "$three"
check "the truth goes where it was told" test -s elsewhere.json
check "and nowhere else" test ! -e three/truth.json
# shellcheck disable=SC2086
expect 0 --out four $small --voices one --mix-codec mp3 --mix-kbps 128 --stored-codec vorbis
check "a lossy mix is kept as it was coded" test -s four/mixdown.mp3
check "a lossy recording is, too" test -s four/keeper.ogg

expect 2
expect 2 --out five --mix-codec wax
expect 2 --out five --mix-codec opus --mix-rate 44100 --minutes 0.1
expect 3 --out five --voices nowhere
echo text >file
expect 4 --out file --minutes 0.1
check "nothing is left of what failed" test ! -e five

[ $failures = 0 ] && echo "all as expected"

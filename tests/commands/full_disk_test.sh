#!/bin/sh
# A disk that fills while stems are written, and one that has not the room from the start. Needs the
# right to mount; without it the test is skipped.
#   full_disk_test.sh KILTER SESSION
set -eu
kilter=$1 session=$2
folder=$(mktemp -d)
disk=$folder/disk
mkdir "$disk"
trap 'umount "$disk" 2>/dev/null; rm -rf "$folder"' EXIT

fail() {
  echo "FAILED: $*" >&2
  exit 1
}
mount -t tmpfs -o size=16m tmpfs "$disk" 2>/dev/null || {
  echo "skipped: mounting a small disk takes rights that are not there"
  exit 77
}
"$kilter" align "$session" --lineup "$folder/show.lineup.json" --quiet >/dev/null

# The need is known before the work.
code=0
"$kilter" conform "$session" --lineup "$folder/show.lineup.json" --out "$disk/out" --quiet \
  >/dev/null 2>"$folder/err" || code=$?
[ $code = 4 ] || fail "exit $code where the disk is too small"
grep -q 'the stems need [0-9.]* [MG]B' "$folder/err" || fail "the need is not told: $(cat "$folder/err")"
[ -z "$(ls -A "$disk")" ] || fail "something is left on the disk"

# FLAC might have fitted: it fills while it is written.
code=0
"$kilter" conform "$session" --lineup "$folder/show.lineup.json" --out "$disk/out" --container flac --quiet \
  >/dev/null 2>"$folder/err" || code=$?
[ $code = 4 ] || fail "exit $code where the disk fills: $(cat "$folder/err")"
[ "$(wc -l <"$folder/err")" -le 2 ] || fail "more than one sentence: $(cat "$folder/err")"
[ -z "$(ls -A "$disk")" ] || fail "something is left on the full disk: $(ls -A "$disk")"

# With room it works.
"$kilter" conform "$session" --lineup "$folder/show.lineup.json" --out "$disk/out" --bits 16 \
  --container flac --quiet >/dev/null 2>"$folder/err" || fail "does not fit: $(cat "$folder/err")"

#!/bin/sh
# readme_test.sh KILTER README SESSION: what README.md says that the demo prints, it prints. Words
# and counts are the same; a place holds to the millisecond, other figures to a tenth: processors
# round differently.
set -eu
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
kilter=$1 readme=$2 session=$3
name=$(basename "$session")
sed -n "s/^    //; /^$name: /,/^Report /p" "$readme" >"$folder/promised"
(cd "$folder" && "$kilter" conform "$session" --out "$name.conformed") >"$folder/printed"
[ -s "$folder/promised" ] || {
  echo "README.md shows no demo"
  exit 1
}

awk '
function same(a, b) {
  if (a == b) return 1
  if (a ~ /:.*\.[0-9]+$/ && b ~ /:.*\.[0-9]+$/)
    return substr(a, 1, length(a) - 3) == substr(b, 1, length(b) - 3)
  if (a ~ /^[-+]?[0-9]+\.[0-9]+$/ && b ~ /^[-+]?[0-9]+\.[0-9]+$/)
    return (a - b) ^ 2 <= (0.1 * a) ^ 2
  return 0
}
NR == FNR { promised[FNR] = $0; lines = FNR; next }
{
  count = split(promised[FNR], words)
  differs = count != NF
  for (i = 1; i <= NF; i++) if (!same(words[i], $i)) differs = 1
  if (differs) { print "README.md: " promised[FNR] "\nprinted:   " $0; bad = 1 }
}
END {
  if (FNR != lines) { print "README.md shows " lines " lines, printed are " FNR; bad = 1 }
  exit bad
}' "$folder/promised" "$folder/printed" || {
  cat "$folder/printed"
  exit 1
}
echo "README.md shows what the demo prints"

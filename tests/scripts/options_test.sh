#!/bin/sh
# options_test.sh KILTER CONFORM: scripts/conform must know every option of `kilter conform` that
# takes a value, or it would take the value for a session.
set -eu
help=$("$1" conform --help)
with_value=$(printf '%s\n' "$help" | sed -n 's/^  \(--[a-z-]*\) [A-Z].*/\1/p')
known=$(sed -n '/^ *--mix |/,/) wants_value=yes/p' "$2" | grep -o -e '--[a-z-]*')
failures=0
for option in $with_value; do
  printf '%s\n' "$known" | grep -qx -e "$option" && continue
  echo "scripts/conform does not know that $option takes a value"
  failures=$((failures + 1))
done
count=$(printf '%s\n' "$with_value" | grep -c .)
[ $failures = 0 ] && [ "$count" -ge 5 ] && echo "$count options with a value are known"

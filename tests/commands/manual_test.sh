#!/bin/sh
# manual_test.sh MAN_FOLDER KILTER: the manual pages have no fault that a formatter warns of, and
# tell every option that --help tells. Exit 77 where no formatter is installed.
set -eu
folder=$1 kilter=$2
failures=0 formatters=0
text=$(mktemp)
trap 'rm -f "$text"' EXIT

complain() {
  echo "$1"
  failures=$((failures + 1))
}

# without_warnings PAGE COMMAND...
without_warnings() {
  page=$1
  shift
  said=$("$@" "$page" 2>&1 >/dev/null) || complain "$page: $* fails"
  [ -z "$said" ] || complain "$page: $said"
}

for page in kilter kilter-survey kilter-align kilter-conform kilter-check kilter-batch; do
  file=$folder/$page.1
  [ -s "$file" ] || complain "$file is missing"
  command=${page#kilter}
  command=${command#-}
  if command -v groff >/dev/null; then
    formatters=1
    without_warnings "$file" groff -man -Tutf8 -ww -z
    groff -man -Tascii -P-cbou "$file" >"$text"
    # shellcheck disable=SC2086  # no command is no word
    "$kilter" $command --help | sed -n 's/^  \(--[a-z-]*\).*/\1/p' >"$text.options"
    while read -r option; do
      grep -q -e "^ *$option\\( \\|\$\\)" "$text" || complain "$page does not tell $option"
    done <"$text.options"
    [ -s "$text.options" ] || complain "$page: --help told no options"
    rm -f "$text.options"
    for title in NAME SYNOPSIS DESCRIPTION OPTIONS "EXIT STATUS" FILES ENVIRONMENT EXAMPLES "SEE ALSO"; do
      grep -qx "$title" "$text" || complain "$page has no $title"
    done
  fi
  if command -v man >/dev/null && man --warnings -l "$file" >/dev/null 2>&1; then
    said=$(LC_ALL=C.UTF-8 man --warnings -l "$file" 2>&1 >/dev/null)
    [ -z "$said" ] || complain "$page: $said"
  fi
  if command -v mandoc >/dev/null; then
    formatters=1
    # A date would have to be kept by hand: the version in its place tells more.
    said=$(mandoc -T lint "$file" | grep -v 'missing date') || true
    [ -z "$said" ] || complain "$said"
  fi
done
[ $formatters = 1 ] || exit 77
[ $failures = 0 ] && echo "every page is sound"

#!/bin/sh
# debian_test.sh BUILD: the Debian packages hold what belongs into them and name what they need. Exit 77
# where no such packages can be made.
set -eu
build=$1
for tool in dpkg-shlibdeps cpack file; do command -v $tool >/dev/null || exit 77; done
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
failures=0
complain() {
  echo "$1"
  failures=$((failures + 1))
}

(cd "$folder" && cpack --config "$build/CPackConfig.cmake" -B "$folder") >"$folder/log" 2>&1 || {
  cat "$folder/log"
  exit 1
}
# Quoted patterns are whole paths below /usr.
holds() {  # PACKAGE PATTERN...
  package=$1
  shift
  dpkg-deb -c "$folder/$package"_*.deb | awk '{ sub("^\\./usr/", "", $6); print $6 }' >"$folder/paths"
  for pattern in "$@"; do
    grep -qx -e "$pattern" "$folder/paths" || complain "$package lacks $pattern"
  done
}
needs() {  # PACKAGE PATTERN...
  package=$1
  shift
  needed=$(dpkg-deb -f "$folder/$package"_*.deb Depends)
  for pattern in "$@"; do
    echo "$needed" | grep -q -e "\\(^\\|, \\)$pattern" || complain "$package does not need $pattern: $needed"
  done
}

holds kilter bin/kilter share/man/man1/kilter-conform.1.gz share/doc/kilter/copyright \
  share/bash-completion/completions/kilter share/fish/vendor_completions.d/kilter.fish
! grep -q -e '\.h$' -e '\.a$' "$folder/paths" || complain "kilter holds what only builders need"
needs kilter libc6 libsndfile1 libfftw3-single3 libebur128-1
holds libkilter-dev include/kilter/sync/align.h 'lib/.*libkilter_sync\.a' \
  'lib/.*cmake/kilter/kilterConfig\.cmake' share/doc/libkilter-dev/copyright \
  share/doc/libkilter-dev/example/align_two.cpp
! grep -q '^share/doc/kilter/' "$folder/paths" || complain "libkilter-dev writes into kilter's folder"
needs libkilter-dev libsndfile1-dev libfftw3-dev libebur128-dev libfmt-dev
[ $failures = 0 ] && echo "both packages hold what belongs into them"

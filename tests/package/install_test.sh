#!/bin/sh
# install_test.sh BUILD SOURCE DEMO: what `cmake --install` puts down works, in a folder that was moved
# since, and projects of somebody else's build on it.
set -eu
build=$1 source=$2 demo=$3
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
failures=0
complain() {
  echo "$1"
  failures=$((failures + 1))
}

cmake --install "$build" --prefix "$folder/first" >"$folder/log"
mv "$folder/first" "$folder/moved"
prefix=$folder/moved
for file in bin/kilter share/man/man1/kilter.1 share/man/man1/kilter-survey.1 \
  share/man/man1/kilter-align.1 share/man/man1/kilter-conform.1 share/man/man1/kilter-check.1 \
  share/bash-completion/completions/kilter share/fish/vendor_completions.d/kilter.fish \
  share/doc/kilter/LICENSE share/doc/kilter/README.md share/doc/kilter/DEVELOPERS.md \
  share/doc/kilter/example/align_two.cpp include/kilter/sync/align.h; do
  [ -s "$prefix/$file" ] || complain "$file is not installed"
done
find "$prefix/share/zsh" -name _kilter | grep -q . || complain "zsh's completion is not installed"
# Nothing of the build's own.
strangers=$(find "$prefix" -type f | sed "s|^$prefix/||" | grep -v \
  -e '^bin/kilter$' -e '^include/kilter/[a-z]*/[a-z_0-9]*\.h$' -e '^lib.*/libkilter_[a-z]*\.a$' \
  -e '^lib.*/cmake/kilter/kilter[A-Za-z-]*\.cmake$' -e '^share/') || true
[ -z "$strangers" ] || complain "installed too: $strangers"
! grep -rF -e "$build" "$prefix" --include='*.cmake' || complain "the package names the build's folder"

"$prefix/bin/kilter" --version | grep -q '^kilter [0-9]' || complain "the program does not run"

# built SOURCE NAME
built() {
  {
    cmake -S "$1" -B "$folder/$2" -DCMAKE_BUILD_TYPE=Release -DCMAKE_PREFIX_PATH="$prefix" &&
      cmake --build "$folder/$2"
  } >"$folder/log" 2>&1 && return
  cat "$folder/log"
  complain "$2 does not build"
}

# Within a millisecond and a ppm of what the simulator says of the demo.
built "$prefix/share/doc/kilter/example" align_two
answer=$("$folder/align_two/align_two" "$demo/mixdown.flac" "$demo/harbour.flac") || true
echo "$answer" | awk '
  $1 == "firm:" && ($4 - 8.298971) ^ 2 < 1e-6 && ($7 + 43.22) ^ 2 < 1 { good = 1 }
  END { exit !good }' || complain "harbour belongs at 8.298971 s, -43.22 ppm; told: $answer"

built "$source/every_header" every_header
"$folder/every_header/every_header" --help | grep -q conform || complain "the topmost layer does not run"
[ $failures = 0 ] && echo "$answer"

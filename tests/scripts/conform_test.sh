#!/bin/sh
# conform_test.sh SCRIPTS: scripts/conform in a tree of its own, with stand-ins for the package
# manager, the build and the program, which prints its arguments.
set -eu
tree=$(mktemp -d)
tree=$(cd "$tree" && pwd -P)
trap 'rm -rf "$tree"' EXIT
mkdir -p "$tree/bin" "$tree/build/release/src/commands" "$tree/night talk"
cp -R "$1" "$tree/scripts"
failures=0

stand_in() {  # FILE LINE...
  file=$1
  shift
  printf '#!/bin/sh\n' >"$file"
  printf '%s\n' "$@" >>"$file"
  chmod +x "$file"
}

# shellcheck disable=SC2016  # the stand-ins fill the variables in
{
  stand_in "$tree/bin/dpkg-query" 'for last in "$@"; do :; done' \
    'case " $MISSING " in *" $last "*) exit 1 ;; esac' 'printf installed'
  stand_in "$tree/bin/apt-get" 'echo "apt-get $*" >>"$CALLS"'
  stand_in "$tree/bin/id" 'echo "$USER_ID"'
  stand_in "$tree/bin/sudo" 'exit 1'
  stand_in "$tree/bin/ninja" 'echo "ninja: no work to do."'
  stand_in "$tree/bin/cmake" 'echo "cmake $*" >>"$CALLS"'
  stand_in "$tree/build/release/src/commands/kilter" 'printf "[%s]" "$@"' 'exit 7'
}
: >"$tree/build/release/build.ninja"
echo "CMAKE_HOME_DIRECTORY:INTERNAL=$tree" >"$tree/build/release/CMakeCache.txt"
: >"$tree/night talk/session.toml"

# run FOLDER ARGUMENT...: into $said, $exit_code, $tree/errors and $tree/calls
run() {
  folder=$1
  shift
  : >"$tree/calls"
  exit_code=0
  said=$(cd "$tree/$folder" && CALLS=$tree/calls MISSING=${missing-} USER_ID=${user_id-1000} \
    PATH="$tree/bin:$PATH" "$tree/scripts/conform" "$@" 2>"$tree/errors") || exit_code=$?
}

complain() {
  echo "$1"
  echo "  said: $said (exit $exit_code)"
  cat "$tree/errors" "$tree/calls"
  failures=$((failures + 1))
}

passes_on() {  # NAME EXPECTED FOLDER ARGUMENT...
  name=$1 expected=$2
  shift 2
  run "$@"
  [ "$said" = "$expected" ] || complain "$name: expected $expected"
  [ $exit_code = 7 ] || complain "$name: the program's exit code is lost"
}

demo="$tree/testdata/lighthouse-hour-12"
passes_on NothingMeansTheDemo \
  "[conform][$demo][--replace][--out][lighthouse-hour-12.conformed]" .
passes_on OptionsAloneMeanTheDemo \
  "[conform][$demo][--rate][44100][--replace][--out][lighthouse-hour-12.conformed]" . --rate 44100
passes_on TheDemoIsNotReplacedElsewhere "[conform][$demo][--out][there]" . --out there
passes_on AFolderNamesItsOutput "[conform][night talk/][--out][night talk.conformed]" . "night talk/"
passes_on ASessionAfterOptionsIsFound \
  "[conform][--rate][44100][--quiet][night talk][--out][night talk.conformed]" \
  . --rate 44100 --quiet "night talk"
passes_on TheCurrentFolderHasAName "[conform][.][--out][night talk.conformed]" "night talk" .
passes_on ASessionFileNamesItsFolder \
  "[conform][night talk/session.toml][--out][night talk.conformed]" . "night talk/session.toml"
passes_on AMissingSessionIsLeftToTheProgram "[conform][gone][--out][gone.conformed]" . gone
passes_on OutIsNotSetTwice "[conform][night talk][--out=x]" . "night talk" --out=x
passes_on HelpIsPassedOn "[conform][--help]" . --help

missing="libfmt-dev ninja-build"
run . "night talk"
[ $exit_code = 69 ] || complain "WithoutRightsItStops: expected exit 69"
grep -q '^  next: sudo apt-get update && sudo apt-get install ninja-build libfmt-dev$' "$tree/errors" ||
  complain "WithoutRightsItStops: the line to run is missing"
[ ! -s "$tree/calls" ] || complain "WithoutRightsItStops: it ran something"
user_id=0
run . "night talk"
grep -q '^apt-get install .* ninja-build libfmt-dev *$' "$tree/calls" ||
  complain "RootInstallsWhatIsMissing"
missing=''
run . "night talk"
! grep -q apt-get "$tree/calls" || complain "NothingIsInstalledTwice"

[ $failures = 0 ] && echo "every case passed"

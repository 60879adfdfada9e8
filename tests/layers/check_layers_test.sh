#!/bin/sh
# check_layers_test.sh CHECKER: each crossing, put into a small sound tree, must fail the checker.
set -eu
checker=$1
tree=$(mktemp -d)
trap 'rm -rf "$tree"' EXIT
failures=0

sound_tree() {
  rm -rf "${tree:?}"/*
  mkdir -p "$tree/src/base" "$tree/src/sound" "$tree/src/files" "$tree/src/commands" \
    "$tree/include/kilter/base"
  echo 'foreach(layer base sound files commands)' >"$tree/src/CMakeLists.txt"
  echo 'kilter_layer(base SOURCES base.cpp)' >"$tree/src/base/CMakeLists.txt"
  printf 'kilter_layer(sound\n  SOURCES sound.cpp\n  USES base)\n' >"$tree/src/sound/CMakeLists.txt"
  echo 'kilter_layer(files SOURCES files.cpp USES base PRIVATE_LIBRARIES PkgConfig::SNDFILE)' \
    >"$tree/src/files/CMakeLists.txt"
  echo 'kilter_layer(commands SOURCES main.cpp USES sound files)' >"$tree/src/commands/CMakeLists.txt"
  echo '#include <vector>' >"$tree/include/kilter/base/units.h"
  echo '#include "kilter/base/units.h"' >"$tree/src/sound/sound.cpp"
  printf '#include <sndfile.h>\n#include "kilter/base/units.h"\n' >"$tree/src/files/files.cpp"
  printf '#include "kilter/base/units.h"\nint main() { std::cout << 1; }\n' \
    >"$tree/src/commands/main.cpp"
}

expect() {  # pass|fail NAME
  outcome=pass
  "$checker" "$tree" >"$tree/answer" 2>&1 || outcome=fail
  if [ $outcome != "$1" ]; then
    echo "$2: expected $1, got $outcome:"
    cat "$tree/answer"
    failures=$((failures + 1))
  fi
}

crossing() {  # NAME FILE LINE: the line, added to the file, is a crossing
  sound_tree
  printf '%s\n' "$3" >>"$tree/$2"
  expect fail "$1"
}

sound_tree
expect pass SoundTreePasses
crossing SidewaysInclude src/sound/sound.cpp '#include "kilter/files/reader.h"'
crossing UpwardInclude include/kilter/base/units.h '#include "kilter/sound/fft.h"'
crossing PrivateHeaderOfAnotherLayer src/sound/sound.cpp '#include "../files/detail.h"'
crossing LibraryOfAnotherLayer src/sound/sound.cpp '#include <sndfile.h>'
crossing DeclaredUpwards src/base/CMakeLists.txt 'kilter_layer(base USES sound)'
crossing PrintsBelowCommands src/sound/sound.cpp 'std::cerr << "done";'
crossing PrintsByPrintf src/sound/sound.cpp '  std::printf("%d", 1);'
sound_tree
printf '// std::cout is for others\nint n = std::snprintf(p, 4, "%%d", 1);\n' >>"$tree/src/sound/sound.cpp"
expect pass CommentsAndSnprintfPass
rm -rf "${tree:?}/src"
mkdir "$tree/src"
echo 'foreach(layer base)' >"$tree/src/CMakeLists.txt"
expect fail EmptyTree

[ $failures = 0 ] && echo "every crossing was seen"

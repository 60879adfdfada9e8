# Shared by the scripts beside this folder: packages, configuring and building, quietly.
# Sourced by POSIX sh, after `root` was set to the top of the repository.
# shellcheck shell=sh
# shellcheck disable=SC2034  # the sourcing script uses the lists

log=${root:?}/build/setup.log
build_packages="g++ cmake ninja-build pkg-config libsndfile1-dev libavformat-dev libavcodec-dev \
libavutil-dev libfftw3-dev libebur128-dev libcli11-dev libfmt-dev nlohmann-json3-dev libtomlplusplus-dev"
test_packages="libgtest-dev ffmpeg"
browser_packages="chromium tidy" # for the report's page, where there are such packages
manner_packages="groff man-db mandoc zsh fish" # for the manual and completion, likewise
clang_packages="clang llvm libclang-rt-dev" # with sanitizers and libFuzzer, and the tools that tell what was reached
checker_packages="cppcheck valgrind clang clang-tidy" # for scripts/checkers
bench_packages="libsoxr-dev" # only to compare with: the product does not use it
exit_no_setup=69

say() { printf 'kilter: %s\n' "$*" >&2; }

# fail WHAT [NEXT_STEP]
fail() {
  say "$1"
  [ -z "${2-}" ] || printf '  next: %s\n' "$2" >&2
  exit "$exit_no_setup"
}

# Runs a command with its words in the log; on failure shows the end of what it said and stops.
quietly() {
  lines_before=$(wc -l <"$log")
  printf '+ %s\n' "$*" >>"$log"
  "$@" >>"$log" 2>&1 </dev/null && return
  tail -n "+$((lines_before + 1))" "$log" | tail -n 60 >&2
  fail "set-up stopped at: $*" "the whole log is in $log"
}

missing_debian_packages() {
  for package in "$@"; do
    # shellcheck disable=SC2016  # dpkg fills the field in
    state=$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null) || state=none
    [ "$state" = installed ] || printf '%s ' "$package"
  done
}

install_debian_packages() {
  missing=$(missing_debian_packages "$@")
  [ -n "$missing" ] || return 0
  if [ "$(id -u)" = 0 ]; then
    as_root='env'
  elif command -v sudo >/dev/null && sudo -n true 2>/dev/null; then
    as_root="sudo -n env"
  else
    fail "packages are missing, and installing them needs an administrator" \
      "sudo apt-get update && sudo apt-get install ${missing% }"
  fi
  say "installing ${missing% }"
  # An outdated list of some other source must not stop us: the install has the last word.
  $as_root apt-get update >>"$log" 2>&1 </dev/null || true
  # shellcheck disable=SC2086  # words are meant
  quietly $as_root DEBIAN_FRONTEND=noninteractive \
    apt-get install -y --no-install-recommends $missing
}

brew_name() {
  case $1 in
    g++) ;;  # comes with the command line tools
    ninja-build) echo ninja ;;
    pkg-config) echo pkg-config ;;
    libsndfile1-dev) echo libsndfile ;;
    libavformat-dev) echo ffmpeg ;;
    libavcodec-dev | libavutil-dev) ;;  # come with ffmpeg
    libfftw3-dev) echo fftw ;;
    libcli11-dev) echo cli11 ;;
    libfmt-dev) echo fmt ;;
    nlohmann-json3-dev) echo nlohmann-json ;;
    libtomlplusplus-dev) echo tomlplusplus ;;
    libgtest-dev) echo googletest ;;
    libsoxr-dev) echo libsoxr ;;
    clang | libclang-rt-dev) ;; # come with llvm
    *) echo "$1" ;;
  esac
}

# want_packages PACKAGE...: Debian packages without which less is tested. Goes on without them.
want_packages() {
  command -v apt-get >/dev/null && command -v dpkg-query >/dev/null || return 0
  # shellcheck disable=SC2046  # words are meant
  set -- $(missing_debian_packages "$@")
  [ $# -gt 0 ] || return 0
  as_root=
  [ "$(id -u)" = 0 ] || as_root="sudo -n"
  say "installing $*"
  for package in "$@"; do
    # shellcheck disable=SC2086  # words are meant
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends "$package" \
      >>"$log" 2>&1 </dev/null || say "without $package: tests that need it are left out"
  done
}

check_brew_packages() {
  missing=
  for package in "$@"; do
    name=$(brew_name "$package")
    [ -z "$name" ] || [ -d "$(brew --prefix)/opt/$name" ] || missing="$missing $name"
  done
  [ -z "$missing" ] || fail "packages are missing" "brew install$missing"
}

# need_packages PACKAGE...: by their Debian names. Elsewhere than on Debian and its kin nothing is
# installed; where no known package manager is found, configuring says what is missing.
need_packages() {
  mkdir -p "$root/build" || fail "cannot write below $root"
  : >"$log" || fail "cannot write $log"
  if command -v apt-get >/dev/null && command -v dpkg-query >/dev/null; then
    install_debian_packages "$@"
  elif command -v brew >/dev/null; then
    check_brew_packages "$@"
  elif ! command -v cmake >/dev/null || ! command -v ninja >/dev/null; then
    fail "cmake or ninja is missing" "install what Debian calls: $*"
  fi
}

# configured FOLDER: whether it was configured for this very tree. A tree that was moved or copied
# starts anew.
configured() {
  [ -f "$1/build.ninja" ] || return 1
  grep -qxF "CMAKE_HOME_DIRECTORY:INTERNAL=$root" "$1/CMakeCache.txt" && return
  rm -rf "$1"
  return 1
}

# configure FOLDER OPTION...: only where it has not been done with these options.
configure() {
  tree=$1
  shift
  configured "$tree" && [ "$(cat "$tree/kilter-options" 2>/dev/null)" = "$*" ] && return
  # CMake itself would forget all options but the compiler where that is another one.
  rm -rf "$tree/CMakeCache.txt" "$tree/CMakeFiles" "$tree/kilter-options"
  quietly cmake -S "$root" -B "$tree" -G Ninja "$@"
  printf '%s\n' "$*" >"$tree/kilter-options"
}

# build FOLDER TARGET...: says first how much there is to do, and on a terminal how far it is.
build() {
  tree=$1
  shift
  steps=$(ninja -C "$tree" -n "$@" 2>/dev/null | grep -c '^\[') || steps=0
  watcher=
  if [ "$steps" -gt 0 ]; then
    say "building in ${tree#"$root"/}: $steps steps"
    if [ -t 2 ]; then show_steps & watcher=$!; fi
  fi
  quietly cmake --build "$tree" --target "$@"
  [ -z "$watcher" ] || { kill "$watcher" && printf '\r\033[K' >&2; }
}

# Over and over, as long as the script runs, the step at which the build is.
show_steps() {
  while sleep 1 && kill -0 $$ 2>/dev/null; do
    tail -n 1 "$log" | sed -n 's/^\(\[[0-9]*\/[0-9]*\]\).*/\1/p' | tr '\n' '\r' >&2
  done
}

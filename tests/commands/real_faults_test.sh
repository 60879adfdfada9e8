#!/bin/sh
# real_faults_test.sh KILTER KILTER-SIMULATE truncated|clock|memory|signals|handles|read-only
# What a system does to a program at work: it ends as it says, and leaves nothing half-written.
set -eu
kilter=$1 simulate=$2 fault=$3
folder=$(mktemp -d)
trap 'chmod -R u+w "$folder"; rm -rf "$folder"' EXIT
mkdir "$folder/scratch" "$folder/shows"
export TMPDIR="$folder/scratch"
cd "$folder"

fail() {
  echo "FAILED: $*" >&2
  exit 1
}
talk() { # a sound session below FOLDER
  "$simulate" --out "$1" --truth "$folder/truth.json" --seed 2 --minutes 0.6 --room 2 --remote 1 \
    --room-rate 16000 --remote-rates 16000 --mix-rate 16000 >/dev/null
}
# run EXITS COMMAND...: one of the exit codes; nothing of it stays beside its result.
run() {
  exits=$1
  shift
  code=0
  "$@" >out.txt 2>err.txt || code=$?
  case " $exits " in
    *" $code "*) ;;
    *) fail "exit $code, not $exits: $*: $(cat err.txt)" ;;
  esac
  clean "$*"
  echo "  exit $code: $(head -n 1 err.txt | cut -c 1-100)"
}
clean() {
  [ -z "$(ls -A scratch)" ] || fail "left in TMPDIR: $(ls -A scratch): $1"
  parts=$(find . -name '*.part*')
  [ -z "$parts" ] || fail "half-written: $parts: $1"
  [ "$code" -le 1 ] || [ ! -s out.txt ] || fail "results of a run that failed: $1"
}
sums() { (cd "$1" && find . -type f ! -name '*.adl' ! -name 'batch*' -exec cksum {} + | sort -k3); }

case $fault in
  truncated)
    # Sources that become shorter, and longer, while they are read.
    talk shows/hour
    for bytes in 0 100 600000 1000000; do
      cp -r shows/hour "cut-$bytes"
      cp "cut-$bytes/mixdown.wav" whole.wav
      i=0
      while [ $i -lt 40 ]; do
        i=$((i + 1))
        : >"cut-$bytes/mixdown.wav"
        dd if=whole.wav of="cut-$bytes/mixdown.wav" bs="$((bytes + 1))" count=1 2>/dev/null
        cat whole.wav >"cut-$bytes/mixdown.wav"
      done &
      changing=$!
      while kill -0 $changing 2>/dev/null; do
        rm -rf done
        run "0 1 3" "$kilter" conform "cut-$bytes" --out done --quiet
        [ $code -le 1 ] || [ ! -e done ] || fail "a result of a run that failed"
      done
      wait $changing
    done
    # When they stand still again, all is well.
    run 0 "$kilter" align cut-600000 --lineup l.json --quiet
    ;;
  clock)
    # A clock set back: all files, and an earlier batch, are of years to come, or from before 1970.
    talk shows/hour
    run 0 "$kilter" batch shows --out done --quiet
    sums done >before.sums
    for time in 209901010000 196001010000; do
      find shows done -exec touch -t $time {} + 2>/dev/null || continue
      run 0 "$kilter" survey shows/hour --quiet
      run 0 "$kilter" conform shows/hour --out again --quiet
      run 0 "$kilter" batch shows --out done --quiet
      sums done | cmp -s - before.sums || fail "another result at $time"
      rm -rf again
    done
    ;;
  memory)
    # Address space that does not do: the least that works, and steps below it.
    talk shows/hour
    failed=0
    for kb in 40000 60000 80000 100000 120000 140000 160000 200000 240000 300000 400000 600000; do
      for command in survey align check conform; do
        case $command in
          survey) set -- survey shows/hour ;;
          align) set -- align shows/hour --lineup l.json ;;
          check) [ -d whole ] || continue && set -- check whole ;;
          conform) set -- conform shows/hour --out done ;;
        esac
        [ -d whole ] || [ $command != check ] || continue
        rm -rf done l.json
        # Too little to load its libraries: 127, by the loader.
        run "0 71 127 4 3" sh -c 'ulimit -v "$1"; shift; exec "$@"' sh $kb "$kilter" "$@" --threads 2 --quiet
        case $code in
          0) [ $command != conform ] || [ -d whole ] || cp -r done whole ;;
          *)
            failed=$((failed + 1))
            [ ! -e done ] && [ ! -e l.json ] || fail "a result of a run that failed: $command at $kb kB"
            ;;
        esac
      done
    done
    echo "memory ran out in $failed runs"
    [ -d whole ] || fail "no run had enough"
    [ $failed -ge 4 ] || fail "memory never ran out"
    ;;
  signals)
    # Storms: signals that mean nothing are borne, and those that end it come more than once.
    talk shows/hour
    run 0 "$kilter" conform shows/hour --out whole --quiet
    sums whole >whole.sums
    stopped=0
    for signals in WINCH "CONT TSTP CONT" "INT INT INT TERM HUP INT" "HUP HUP" "TERM INT"; do
      for delay in 0 0.05 0.1 0.2 0.3; do
        rm -rf done
        code=0
        "$kilter" conform shows/hour --out done --threads 2 --quiet >out.txt 2>err.txt &
        pid=$!
        sleep $delay
        for round in 1 2 3 4 5; do
          for signal in $signals; do kill -s $signal $pid 2>/dev/null || true; done
        done
        kill -s CONT $pid 2>/dev/null || true
        wait $pid || code=$?
        clean "$signals after $delay s"
        case "$signals/$code" in
          */0) sums done | cmp -s - whole.sums || fail "another result after $signals" ;;
          WINCH/* | CONT*) fail "exit $code after $signals" ;;
          # Before it has said that it listens, the system's own way of ending it.
          */130 | */1[0-9][0-9])
            stopped=$((stopped + 1))
            [ ! -e done ] || fail "a result after $signals and exit $code"
            ;;
          *) fail "exit $code after $signals: $(cat err.txt)" ;;
        esac
      done
    done
    echo "$stopped runs were ended by signals"
    [ $stopped -ge 3 ] || fail "no run was ended"
    ;;
  handles)
    # Too few file handles: told, or borne.
    talk shows/hour
    run 0 "$kilter" conform shows/hour --out whole --quiet
    sums whole >whole.sums
    for handles in 4 5 6 7 8 9 10 12 14 16 20 24 32; do
      for command in survey align conform check batch; do
        case $command in
          survey) set -- survey shows/hour ;;
          align) set -- align shows/hour --lineup l.json ;;
          conform) set -- conform shows/hour --out done ;;
          check) set -- check whole ;;
          batch) set -- batch shows --out many ;;
        esac
        rm -rf done l.json many
        run "0 1 3 4 70 127" sh -c 'ulimit -n "$1"; shift; exec "$@"' sh $handles "$kilter" "$@" --threads 2 --quiet
        case $code in
          0) [ $command != conform ] || sums done | cmp -s - whole.sums || fail "another result with $handles handles" ;;
          127) ;; # the loader has none for its libraries
          *)
            grep -qi 'too many open files\|cannot be read\|cannot be written' err.txt out.txt ||
              fail "$command with $handles handles does not say why: $(cat err.txt)"
            ;;
        esac
      done
    done
    ;;
  read-only)
    # A disk that may only be read, mounted where results should go, and where temporary files should.
    talk shows/hour
    mkdir disk
    mount -t tmpfs -o size=1m,ro tmpfs disk 2>/dev/null || {
      echo "skipped: mounting a disk takes rights that are not there"
      exit 77
    }
    trap 'umount "$folder/disk"; rm -rf "$folder"' EXIT
    run 4 "$kilter" conform shows/hour --out disk/done --quiet
    run 4 "$kilter" align shows/hour --lineup disk/l.json --quiet
    run 4 "$kilter" survey shows/hour --html disk/s.html --quiet
    run 4 "$kilter" batch shows --out disk/done --quiet
    TMPDIR="$folder/disk" run 4 "$kilter" align shows/hour --lineup l.json --quiet
    grep -q 'Read-only file system' err.txt || fail "does not say why: $(cat err.txt)"
    [ -z "$(ls -A disk)" ] && [ ! -e l.json ] || fail "something was written"
    ;;
  *) fail "no such fault: $fault" ;;
esac

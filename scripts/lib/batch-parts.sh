# Shared by the scripts that run `kilter batch` on many machines: from their arguments to the
# commands that do a part, and that tell of all parts. Sourced by POSIX sh.
# shellcheck shell=sh
# shellcheck disable=SC2034  # the sourcing script uses what is set here

# A word as any POSIX shell takes it back.
quoted() { printf "'%s'" "$(printf '%s' "$1" | sed "s/'/'\\\\''/g")"; }

# Where a path leads from every machine that sees the same disk.
absolute() {
  case $1 in
    /*) printf '%s\n' "$1" ;;
    *) printf '%s/%s\n' "$PWD" "$1" ;;
  esac
}

# read_batch PARTS ARCHIVE --out DIR [OPTION...]: sets parts, out, part_command (to go on with
# "--only K/N") and merge_command; both are text for a shell. Returns 2 where the line is wrong.
read_batch() {
  case ${1-} in
    '' | *[!0-9]* | 0*) return 2 ;;
  esac
  [ $# -ge 2 ] || return 2
  parts=$1 archive=$(absolute "$2") out=''
  shift 2
  kilter=$(quoted "${KILTER:-kilter}")
  part_command="$kilter batch $(quoted "$archive")" merge_command="$kilter batch $(quoted "$archive") --merge"
  while [ $# -gt 0 ]; do
    case $1 in
      --out | --junit | --mix)
        [ $# -ge 2 ] || return 2
        name=$1 value=$2
        shift
        ;;
      --out=* | --junit=* | --mix=*) name=${1%%=*} value=${1#*=} ;;
      *) name='' ;;
    esac
    case $name in
      --out)
        out=$(absolute "$value")
        part_command="$part_command --out $(quoted "$out")"
        merge_command="$merge_command --out $(quoted "$out")"
        ;;
      # Of all parts together.
      --junit) merge_command="$merge_command --junit $(quoted "$(absolute "$value")")" ;;
      # May be a name in each session's folder.
      --mix) part_command="$part_command --mix $(quoted "$value")" ;;
      *)
        case $1 in
          --json) merge_command="$merge_command --json" ;;
          --align-only | --check-only)
            part_command="$part_command $1"
            merge_command="$merge_command $1"
            ;;
          *) part_command="$part_command $(quoted "$1")" ;;
        esac
        ;;
    esac
    shift
  done
  [ -n "$out" ]
}

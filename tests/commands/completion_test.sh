#!/bin/sh
# completion_test.sh bash|zsh|fish FOLDER: what the shell makes of command lines that end half typed.
# Exit 77 where it is not installed.
set -eu
shell=$1 completions=$2
command -v "$shell" >/dev/null || exit 77
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
mkdir "$folder/lighthouse-12" "$folder/bin" "$folder/zsh"
: >"$folder/lighthouse.wav"
cp "$completions/_kilter" "$folder/zsh"
printf '#!/bin/sh\n' >"$folder/bin/kilter"
chmod +x "$folder/bin/kilter"
export PATH="$folder/bin:$PATH" HOME="$folder" XDG_CONFIG_HOME="$folder/config" \
  XDG_DATA_HOME="$folder/data" TERM=dumb
cd "$folder"
failures=0

# The line's last word, completed; where several fit, all of them. In zsh what all have in common.
offered_bash() {
  bash --noprofile --norc -c '
    source "$1/kilter"
    COMP_LINE=$2 COMP_POINT=${#2} COMP_WORDS=()
    # Parted as by readline, for which = is a word.
    for word in ${2//=/ = }; do COMP_WORDS+=("$word"); done
    case $2 in *" ") COMP_WORDS+=("") ;; esac
    COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
    _kilter kilter "${COMP_WORDS[COMP_CWORD]}"
    printf "%s\n" "${COMPREPLY[@]}"' bash "$completions" "$1"
}
offered_fish() {
  # shellcheck disable=SC2016  # fish fills them in
  fish --no-config -c 'source $argv[1]/kilter.fish; complete -C $argv[2]' "$completions" "$1" |
    cut -f 1 | sed 's/^--[a-z-]*=//'
}
offered_zsh() {
  cat >"$folder/ask.zsh" <<'ASK'
zmodload zsh/zpty
zpty asked zsh -f -i
zpty -w asked "fpath=($1 \$fpath); autoload -Uz compinit; compinit -u -d $2/dump"
zpty -w asked "show() { print -r -- \"\${\${BUFFER% }##* }\" >$2/shown.part; mv $2/shown.part $2/shown; BUFFER= }"
zpty -w asked "zle -N show; bindkey '^I' complete-word; bindkey '^G' show; setopt nobeep; LISTMAX=0; : >$2/ready"
integer tries=0
until [[ -e $2/ready ]] || (( tries++ > 200 )); do sleep 0.05; zpty -r -t asked x; done
zpty -w -n asked "$3"$'\t'
zpty -w -n asked $'\a'
tries=0
until [[ -e $2/shown ]] || (( tries++ > 200 )); do sleep 0.05; zpty -r -t asked x; done
zpty -d asked
ASK
  rm -f "$folder/shown" "$folder/ready"
  zsh -f "$folder/ask.zsh" "$folder/zsh" "$folder" "$1" >/dev/null 2>&1 </dev/null || true
  sed 's/^--[a-z-]*=\(.\)/\1/' "$folder/shown"
}

expect() {  # LINE OFFERED...
  line=$1
  shift
  expected=$(printf '%s\n' "$@")
  got=$("offered_$shell" "$line" | sed 's| *$||; s|/$||; s|=$||' | sort -u)
  [ "$got" = "$expected" ] && return
  printf '%s: expected %s, got %s\n' "$line" "$*" "$got"
  failures=$((failures + 1))
}

expect 'kilter conf' conform
expect 'kilter ch' check
expect 'kilter --vers' --version
expect 'kilter conform show --repl' --replace
expect 'kilter check show --ju' --junit
expect 'kilter conform show --container r' rf64
expect 'kilter conform show --container=f' flac
expect 'kilter conform show --range s' shared
expect 'kilter conform show --clock m' mix
if [ "$shell" = bash ]; then
  expect 'kilter ' --help --version align batch check conform survey
  expect 'kilter conform show --bits ' 16 24 32f
  # Files are left to readline.
  expect 'kilter conform show --mix light' ''
else
  expect 'kilter conform show --out light' lighthouse-12
  expect 'kilter conform show --mix lighthouse.' lighthouse.wav
  expect 'kilter survey lighthouse.' lighthouse.wav
fi
if [ "$shell" = fish ]; then
  expect 'kilter conform show --bits ' 16 24 32f
  expect 'kilter ' align batch check conform survey
fi
[ $failures = 0 ] && echo "$shell completes every line"

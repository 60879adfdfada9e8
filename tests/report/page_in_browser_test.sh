#!/bin/sh
# Opens pages in a browser without a screen, at two widths, and tries them as a person would.
#   page_in_browser_test.sh BROWSER CHECK PAGES..
# Each page is kind@PROGRAM, which prints it, or FOLDER@KILTER: that of the session when conformed, with
# listening clips.
# With TIDY set, that must find nothing wrong in them.
set -eu
browser=$1 check=$2
shift 2
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
failed=0

fail() {
  printf '%s\n' "$*"
  failed=1
}

# open WIDTH: $where/page.html in a frame of that width, since windows have a least one; prints what it tells
# in the end. What the browser complains of goes to a log.
# The browser tells of a document once it is loaded, which this one is not while a part of it is open: so the
# page has the time it needs on a slow machine. The time limit is for one that never tells.
open() {
  cat >"$folder/frame.html" <<END
<!DOCTYPE html><title>a frame</title>
<iframe src="$where/page.html" style="border: 0; width: $1px; height: 900px"></iframe>
<pre id="checked"></pre>
<iframe id="open" hidden></iframe>
<script>
const part = document.getElementById("open").contentDocument;
part.open();
const tell = (verdict) => { document.getElementById("checked").textContent = verdict; part.close(); };
onmessage = (event) => tell(event.data);
setTimeout(() => tell("nothing told in four minutes"), 240000);
</script>
END
  HOME=$folder "$browser" --headless --no-sandbox --disable-gpu --disable-dev-shm-usage --no-first-run \
    --user-data-dir="$folder/profile" --enable-logging=stderr --hide-scrollbars \
    --window-size=1700,1000 --dump-dom "file://$folder/frame.html" \
    2>"$folder/log" >"$folder/dom" || fail "$name: the browser failed: $(cat "$folder/log")"
  sed -n 's/.*<pre id="checked">\(.*\)<\/pre>.*/\1/p' "$folder/dom"
}

for page in "$@"; do
  what=${page%@*} program=${page##*@}
  name=$(basename "$what")
  where=.
  if [ -d "$what" ]; then
    where=conformed
    "$program" conform "$what" --out "$folder/$where" --clips --quiet >/dev/null ||
      fail "$name: cannot be conformed"
    cp "$folder/$where/report.html" "$folder/plain.html"
  else
    "$program" "$what" >"$folder/plain.html"
  fi
  if [ -n "${TIDY-}" ]; then
    complaints=$("$TIDY" -errors -quiet --drop-empty-elements no "$folder/plain.html" 2>&1) ||
      fail "$name: $complaints"
  fi
  cat "$folder/plain.html" "$check" >"$folder/$where/page.html"
  for width in 390 1600; do
    verdict=$(open $width)
    printf '%s, %s px: %s\n' "$name" $width "$verdict"
    case $verdict in
      "checked at $width px: well") ;;
      *) fail "$name, $width px: not well" ;;
    esac
    if grep -a CONSOLE "$folder/log"; then fail "$name, $width px: the browser complains"; fi
  done
done
exit $failed

# Judges samples of a long run: lines "SECONDS KB DESCRIPTORS SESSIONS_KB SESSIONS_DESCRIPTORS", the
# last two 0 0 while no session's process was there. The last quarter of the time may be above the
# first by a tenth and 4 MB, and by two descriptors, in its median as in its highest. Exit 1 otherwise.
function sort_up(list, count,    i, j, value) {
  for (i = 2; i <= count; i++) {
    value = list[i]
    for (j = i - 1; j >= 1 && list[j] > value; j--) list[j + 1] = list[j]
    list[j + 1] = value
  }
}
# quarter(COLUMN, FROM_S, TO_S): sets median and highest of what is above 0; returns how many there are.
function quarter(column, from_s, to_s,    i, count, list) {
  count = 0
  for (i = 1; i <= samples; i++)
    if (at[i] >= from_s && at[i] <= to_s && value[i, column] > 0) list[++count] = value[i, column]
  sort_up(list, count)
  median = count ? list[int((count + 1) / 2)] : 0
  highest = count ? list[count] : 0
  return count
}
function judge(what, column, unit, part, more,    n1, n2, median1, highest1, verdict) {
  n1 = quarter(column, began, began + span / 4)
  median1 = median; highest1 = highest
  n2 = quarter(column, ended - span / 4, ended)
  verdict = "steady"
  if (median > median1 * (1 + part) + more || highest > highest1 * (1 + part) + more) {
    verdict = "GROWS"
    bad = 1
  }
  if (n1 < 3 || n2 < 3) {
    verdict = "TOO FEW SAMPLES"
    bad = 1
  }
  printf "%-28s %9.1f %9.1f %9.1f %9.1f  %s\n", what, median1 / unit, highest1 / unit, median / unit,
    highest / unit, verdict
}
{ at[++samples] = $1; for (i = 1; i <= 4; i++) value[samples, i] = $(i + 1) }
END {
  if (!samples) { print "no samples"; exit 1 }
  began = at[1]; ended = at[samples]; span = ended - began
  printf "%d samples in %d s\n", samples, span
  printf "%-28s %19s %19s\n", "", "first quarter", "last quarter"
  printf "%-28s %9s %9s %9s %9s\n", "", "median", "highest", "median", "highest"
  judge("the batch: MB", 1, 1024, 0.1, 4096)
  judge("the batch: descriptors", 2, 1, 0, 2)
  judge("largest session: MB", 3, 1024, 0.1, 4096)
  judge("largest session: descriptors", 4, 1, 0, 2)
  exit bad
}

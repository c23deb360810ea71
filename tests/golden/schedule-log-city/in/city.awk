# A log like a city's: 3,618 inspections, 27,828 rows, feet; what is odd in it as counted in one open log.
function rnd(n) { seed = (seed * 16807) % 2147483647; return seed % n }
BEGIN {
  seed = 20310402
  split("AMH TBA TFA MWL RFJ RFB CC CL IS IR JOM JSM FL B DAE DSF MGO TB RMJ HSV", code, " ")
  print "Segment,Video Time,Distance [ft],Code,Value,Clock From,Clock To,Joint,Continuous,Remark"
  for (i = 1; i <= 3618; i++) {
    n = i % 300 == 0 ? 36 : 5 + rnd(6)
    left = 27828 - rows
    rest = 3618 - i
    if (left - n < rest * 5) n = left - rest * 5
    if (left - n > rest * 10) n = left - rest * 10
    if (i == 3618) n = left
    inspection(i, n > 36 ? 36 : n)
  }
}
function inspection(i, n,    k, d, t, len, c, s, dd, tt, cell, before) {
  d = 0
  t = 10 + rnd(20)
  len = i == 77 ? 35390 : 600 + rnd(2500) # tenths of a foot
  for (k = 1; k <= n; k++) {
    c = k == 1 || (k == n && i % 66) ? "AMH" : k % 2 ? code[2 + rnd(2)] : code[4 + rnd(17)]
    s = ""
    if (k > 1 && rnd(100) >= 21) d += int(len / n) + rnd(10)
    if (k == n) d = len
    dd = d
    tt = t
    # what is odd: a known number of each, never two in one row
    if (i % 25 == 1 && k == 4 && k < n && before > 1 && back < 48) { dd = int(before / 2); back++ }
    else if (i % 24 == 2 && k == 3 && tback < 146) { tt = t - 90; tback++; if (tt < 0) tt = 0 }
    else if (i % 9 == 4 && k == 4 && none < 386) { tt = -1; none++ }
    else if ((i == 1000 || i == 2000) && k == 2) dd = -12
    else if (i % 20 == 5 && k == 2 && n > 3) { s = "S01"; c = "CL" }
    else if (i % 20 == 5 && k == 4) { s = i % 40 == 5 ? "F01" : ""; c = "CL" }
    cell = tt < 0 ? "" : sprintf("%d:%02d:%02d", tt / 3600, tt / 60 % 60, tt % 60)
    printf "M%04d-M%04d,%s,%s%d.%d,%s,%s,%d,,,%s,\n", i, i + 1, cell, dd < 0 ? "-" : "", int(abs(dd) / 10), abs(dd) % 10,
           c, c == "MWL" ? 5 + rnd(30) : "", 1 + rnd(12), s
    before = dd
    rows++
    t += 30 + rnd(60)
  }
}
function abs(x) { return x < 0 ? -x : x }

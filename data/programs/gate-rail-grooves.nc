(rails: groove)
(made by shopcalc from moves; check it above the work before cutting)
(job: Garden gates; station: edge)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(check the greatest speed marked on each cutter before use; dry run first)
(cutter lengths are not set here: measure each cutter, or add the length offset your control needs)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 Z9
X0 Y0
T2 M6 (SQ10)
G0 Z10
X0 Y0
S18000 M3
G0 X822.7375 Y15.875 Z10
G1 Z-6.35 F2860
X-6.7625 F4110
G0 Z10
X822.7375 Y19.05
G1 Z-6.35 F2860
X-6.7625 F4110
G0 Z10
X822.7375 Y15.875
G1 Z-12.7 F2860
X-6.7625 F4110
G0 Z10
X822.7375 Y19.05
G1 Z-12.7 F2860
X-6.7625 F4110
G0 Z10
X0 Y0
M5
M2

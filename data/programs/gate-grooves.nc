(stiles: groove)
(made by shopcalc from moves; check it above the work before cutting)
(job: Garden gates; station: edge)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(heed the greatest speed marked on each cutter; dry run first)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 X0 Y0 Z10
T2 M6 (SQ10)
S18000 M3
G0 X1073.5625 Y15.875 Z10
G1 Z-6.35 F4114.8
X-6.7625
G0 Z10
X1073.5625 Y19.05
G1 Z-6.35
X-6.7625
G0 Z10
X1073.5625 Y15.875
G1 Z-12.7
X-6.7625
G0 Z10
X1073.5625 Y19.05
G1 Z-12.7
X-6.7625
G0 Z10
X0 Y0
M5
M2

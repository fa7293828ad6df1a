(stiles: groove)
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
G0 X960.4375 Y15.875 Z10
G1 Z1 F2860
Z0
Y19.05 Z-0.166395 F4110
X842.447282 Z-6.35
X106.3625
Y15.875
X960.4375
Y19.05
X842.447282
G0 Z10
X960.4375 Y15.875
G1 Z-5.35 F2860
Z-6.35
Y19.05 Z-6.516395 F4110
X842.447282 Z-12.7
X106.3625
Y15.875
X960.4375
Y19.05
X842.447282
G0 Z10
X0 Y0
M5
M2

(end rails: panel groove)
(made by shopcalc from moves; check it above the work before cutting)
(job: Reed-bed chest; station: edge)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(check the greatest speed marked on each cutter before use; dry run first)
(cutter lengths are not set here: measure each cutter, or add the length offset your control needs)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 Z9
X0 Y0
T1 M6 (SQ6)
G0 Z10
X0 Y0
S18000 M3
G0 X-5.175 Y11.1125 Z10
G1 Z-4.7625 F1900
X395.7 F2740
G0 Z10
X-5.175
G1 Z-9.525 F1900
X395.7 F2740
G0 Z10
X0 Y0
M5
M2

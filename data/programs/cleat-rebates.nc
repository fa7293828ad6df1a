(cleats: rebate)
(made by shopcalc from moves; check it above the work before cutting)
(job: Reed-bed chest; station: flat)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(check the greatest speed marked on each cutter before use; dry run first)
(cutter lengths are not set here: measure each cutter, or add the length offset your control needs)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 Z9
X0 Y0
T3 M6 (SQ12)
G0 Z10
X0 Y0
S18000 M3
G0 X1024.33 Y-2.096667 Z10
G1 Z-9.525 F3820
X-8.33 F5460
G0 Z10
X1024.33 Y2.136667
G1 Z-9.525 F3820
X-8.33 F5460
G0 Z10
X1024.33 Y6.37
G1 Z-9.525 F3820
X-8.33 F5460
G0 Z10
X0 Y0
M5
M2

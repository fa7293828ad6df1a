(bottom rails: rebate)
(made by shopcalc from moves; check it above the work before cutting)
(job: Reed-bed chest; station: flat)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(heed the greatest speed marked on each cutter; dry run first)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 X0 Y0 Z10
T3 M6 (SQ12)
S18000 M3
G0 X973.53 Y-2.096667 Z10
G1 Z-9.525 F5469.12
X-8.33
G0 Z10
X973.53 Y2.136667
G1 Z-9.525
X-8.33
G0 Z10
X973.53 Y6.37
G1 Z-9.525
X-8.33
G0 Z10
X0 Y0
M5
M2

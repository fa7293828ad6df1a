(muntins: stub tenon)
(made by shopcalc from moves; check it above the work before cutting)
(job: Reed-bed chest; station: end)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(check the greatest speed marked on each cutter before use; dry run first)
(back-up block behind the exit of the cutter; clamp so that the end cannot lift)
(cutter lengths are not set here: measure each cutter, or add the length offset your control needs)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 Z9
X0 Y0
T4 M6 (SQ12L)
G0 Z10
X0 Y0
S15300 M3
G0 X59.15 Y-2.3495 Z10
G1 Z-7.9375 F3260
X-8.35 F4660
G0 Z10
X59.15 Y1.651
G1 Z-7.9375 F3260
X-8.35 F4660
G0 Z10
Y24.5745
G1 Z-7.9375 F3260
X59.15 F4660
G0 Z10
X-8.35 Y20.574
G1 Z-7.9375 F3260
X59.15 F4660
G0 Z10
X0 Y0
M5
M2

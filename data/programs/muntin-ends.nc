(muntins: stub tenon)
(made by shopcalc from moves; check it above the work before cutting)
(job: Reed-bed chest; station: end)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(heed the greatest speed marked on each cutter; dry run first)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 X0 Y0 Z10
T4 M6 (SQ12L)
S15300 M3
G0 X59.15 Y-2.38125 Z10
G1 Z-4.7625 F4663.44
X-8.35
G0 Z10
X59.15 Y1.5875
G1 Z-4.7625
X-8.35
G0 Z10
Y24.60625
G1 Z-4.7625
X59.15
G0 Z10
X-8.35 Y20.6375
G1 Z-4.7625
X59.15
G0 Z10
Y-2.38125
G1 Z-9.525
X-8.35
G0 Z10
X59.15 Y1.5875
G1 Z-9.525
X-8.35
G0 Z10
Y24.60625
G1 Z-9.525
X59.15
G0 Z10
X-8.35 Y20.6375
G1 Z-9.525
X59.15
G0 Z10
X0 Y0
M5
M2

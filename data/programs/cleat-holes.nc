(cleats: six holes)
(made by shopcalc from moves; check it above the work before cutting)
(job: Reed-bed chest; station: flat)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(heed the greatest speed marked on each cutter; dry run first)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 X0 Y0 Z10
T12 M6 (DR8)
S6000 M3
G0 X50.8 Y15.875 Z10
Z2
G1 Z-6.35 F403.2
G0 Z2
Z-5.85
G1 Z-12.7
G0 Z2
Z-12.2
G1 Z-19.05
G0 Z2
Z10
X203.2
Z2
G1 Z-6.35
G0 Z2
Z-5.85
G1 Z-12.7
G0 Z2
Z-12.2
G1 Z-19.05
G0 Z2
Z10
X355.6
Z2
G1 Z-6.35
G0 Z2
Z-5.85
G1 Z-12.7
G0 Z2
Z-12.2
G1 Z-19.05
G0 Z2
Z10
X508
Z2
G1 Z-6.35
G0 Z2
Z-5.85
G1 Z-12.7
G0 Z2
Z-12.2
G1 Z-19.05
G0 Z2
Z10
X660.4
Z2
G1 Z-6.35
G0 Z2
Z-5.85
G1 Z-12.7
G0 Z2
Z-12.2
G1 Z-19.05
G0 Z2
Z10
X812.8
Z2
G1 Z-6.35
G0 Z2
Z-5.85
G1 Z-12.7
G0 Z2
Z-12.2
G1 Z-19.05
G0 Z2
Z10
X0 Y0
M5
M2

(cleats: six holes)
(made by shopcalc from moves; check it above the work before cutting)
(job: Reed-bed chest; station: flat)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(check the greatest speed marked on each cutter before use; dry run first)
(cutter lengths are not set here: measure each cutter, or add the length offset your control needs)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 Z9
X0 Y0
T12 M6 (DR8)
G0 Z10
X0 Y0
S6000 M3
G0 X127 Y15.875 Z10
Z2
G1 Z-19.05 F400
G0 Z2
Z10
X279.4
Z2
G1 Z-19.05
G0 Z2
Z10
X431.8
Z2
G1 Z-19.05
G0 Z2
Z10
X584.2
Z2
G1 Z-19.05
G0 Z2
Z10
X736.6
Z2
G1 Z-19.05
G0 Z2
Z10
X889
Z2
G1 Z-19.05
G0 Z2
Z10
X0 Y0
M5
M2

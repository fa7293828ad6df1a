(lid: outline)
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
G0 X546.1 Y-6.33 Z10
G1 Z1 F3820
Z0
X403.468503 Z-7.475 F5460
X0
G2 X-6.33 Y0 I0 J6.33
G1 Y520.7
G2 X0 Y527.03 I6.33 J0
G1 X1092.2
G2 X1098.53 Y520.7 I0 J-6.33
G1 Y0
G2 X1092.2 Y-6.33 I-6.33 J0
G1 X546.1
X403.468503
X260.837007 Z-14.95
X0
G2 X-6.33 Y0 I0 J6.33
G1 Y520.7
G2 X0 Y527.03 I6.33 J0
G1 X1092.2
G2 X1098.53 Y520.7 I0 J-6.33
G1 Y0
G2 X1092.2 Y-6.33 I-6.33 J0
G1 X546.1
X403.468503
X260.837007
X118.20551 Z-22.425
X0
G2 X-6.33 Y0 I0 J6.33
G1 Y520.7
G2 X0 Y527.03 I6.33 J0
G1 X1092.2
G2 X1098.53 Y520.7 I0 J-6.33
G1 Y0
G2 X1092.2 Y-6.33 I-6.33 J0
G1 X546.1
X403.468503
X260.837007
X118.20551
G0 Z10
X0 Y0
M5
M2

(hinge rail: two gains)
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
G0 X228.9175 Y9.2075 Z10
G1 Z1 F1900
Z0
Y13.0175 Z-0.199674 F2740
X187.290543 Z-2.38125
X177.4825
Y9.2075
X228.9175
Y13.0175
X187.290543
X174.625 Y15.875
Y6.35
X231.775
Y15.875
X174.625
G0 Z10
X838.5175 Y9.2075
G1 Z1 F1900
Z0
Y13.0175 Z-0.199674 F2740
X796.890543 Z-2.38125
X787.0825
Y9.2075
X838.5175
Y13.0175
X796.890543
X784.225 Y15.875
Y6.35
X841.375
Y15.875
X784.225
G0 Z10
X0 Y0
M5
M2

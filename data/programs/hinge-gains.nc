(hinge rail: two gains)
(made by shopcalc from moves; check it above the work before cutting)
(job: Reed-bed chest; station: edge)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(heed the greatest speed marked on each cutter; dry run first)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 X0 Y0 Z10
T1 M6 (SQ6)
S18000 M3
G0 X254.3175 Y9.2075 Z10
G1 Z1 F2743.2
Z0
Y13.0175 Z-0.199674
X212.690543 Z-2.38125
X202.8825
Y9.2075
X254.3175
Y13.0175
X212.690543
X200.025 Y15.875
Y6.35
X257.175
Y15.875
X200.025
G0 Z10
X711.5175 Y9.2075
G1 Z1
Z0
Y13.0175 Z-0.199674
X669.890543 Z-2.38125
X660.0825
Y9.2075
X711.5175
Y13.0175
X669.890543
X657.225 Y15.875
Y6.35
X714.375
Y15.875
X657.225
G0 Z10
X0 Y0
M5
M2

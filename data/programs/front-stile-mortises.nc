(front stiles: two mortises)
(made by shopcalc from moves; check it above the work before cutting)
(job: Reed-bed chest; station: edge)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(check the greatest speed marked on each cutter before use; dry run first)
(cutter lengths are not set here: measure each cutter, or add the length offset your control needs)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 Z9
X0 Y0
T2 M6 (SQ10)
G0 Z10
X0 Y0
S18000 M3
G0 X23.8125 Y11.1125 Z10
G1 Z1 F2860
Z0
X77.7875 Z-2.38125 F4110
X23.8125 Z-4.7625
X77.7875 Z-7.14375
X23.8125 Z-9.525
X77.7875
X23.8125 Z-11.90625
X77.7875 Z-14.2875
X23.8125 Z-16.66875
X77.7875 Z-19.05
X23.8125
X77.7875 Z-21.43125
X23.8125 Z-23.8125
X77.7875 Z-26.19375
X23.8125 Z-28.575
X77.7875
G0 Z10
X487.3625
G1 Z1 F2860
Z0
X522.2875 Z-1.5875 F4110
X487.3625 Z-3.175
X522.2875 Z-4.7625
X487.3625 Z-6.35
X522.2875 Z-7.9375
X487.3625 Z-9.525
X522.2875
X487.3625 Z-11.1125
X522.2875 Z-12.7
X487.3625 Z-14.2875
X522.2875 Z-15.875
X487.3625 Z-17.4625
X522.2875 Z-19.05
X487.3625
X522.2875 Z-20.6375
X487.3625 Z-22.225
X522.2875 Z-23.8125
X487.3625 Z-25.4
X522.2875 Z-26.9875
X487.3625 Z-28.575
X522.2875
G0 Z10
X0 Y0
M5
M2

(other stiles: two mortises)
(made by shopcalc from moves; check it above the work before cutting)
(job: Reed-bed chest; station: edge)
(invented demo data made by the paths of shopcalc, not proved on any machine)
(check the greatest speed marked on each cutter before use; dry run first)
(feeds at 85 percent of the planned ones, as if set while proving)
(cutter lengths are not set here: measure each cutter, or add the length offset your control needs)
(starts at X0 Y0 Z0; lengths in mm, feeds in mm/min)
G21 G17 G90 G94
G0 Z9
X0 Y0
T2 M6 (SQ10)
G0 Z10
X0 Y0
S18000 M3
G0 X52.3875 Y11.1125 Z10
G1 Z1 F2430
Z0
X87.3125 Z-1.5875 F3490
X52.3875 Z-3.175
X87.3125 Z-4.7625
X52.3875 Z-6.35
X87.3125 Z-7.9375
X52.3875 Z-9.525
X87.3125
X52.3875 Z-11.1125
X87.3125 Z-12.7
X52.3875 Z-14.2875
X87.3125 Z-15.875
X52.3875 Z-17.4625
X87.3125 Z-19.05
X52.3875
X87.3125 Z-20.6375
X52.3875 Z-22.225
X87.3125 Z-23.8125
X52.3875 Z-25.4
X87.3125 Z-26.9875
X52.3875 Z-28.575
X87.3125
G0 Z10
X487.3625
G1 Z1 F2430
Z0
X522.2875 Z-1.5875 F3490
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

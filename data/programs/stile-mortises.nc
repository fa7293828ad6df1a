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
X87.3125 Z-1.785937 F3490
X52.3875 Z-3.571875
X87.3125 Z-5.357812
X52.3875 Z-7.14375
X87.3125
X52.3875 Z-8.929688
X87.3125 Z-10.715625
X52.3875 Z-12.501562
X87.3125 Z-14.2875
X52.3875
X87.3125 Z-16.073438
X52.3875 Z-17.859375
X87.3125 Z-19.645312
X52.3875 Z-21.43125
X87.3125
X52.3875 Z-23.217187
X87.3125 Z-25.003125
X52.3875 Z-26.789062
X87.3125 Z-28.575
X52.3875
G0 Z10
X487.3625
G1 Z1 F2430
Z0
X522.2875 Z-1.785937 F3490
X487.3625 Z-3.571875
X522.2875 Z-5.357812
X487.3625 Z-7.14375
X522.2875
X487.3625 Z-8.929688
X522.2875 Z-10.715625
X487.3625 Z-12.501562
X522.2875 Z-14.2875
X487.3625
X522.2875 Z-16.073438
X487.3625 Z-17.859375
X522.2875 Z-19.645312
X487.3625 Z-21.43125
X522.2875
X487.3625 Z-23.217187
X522.2875 Z-25.003125
X487.3625 Z-26.789062
X522.2875 Z-28.575
X487.3625
G0 Z10
X0 Y0
M5
M2

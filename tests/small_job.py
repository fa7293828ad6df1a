"""A small job with a groove in two lengths, gains, a carving and a raised panel: quick to plan."""

JOB = """
[job]
name = "Two rails and a carved panel"
machine = "router"
system = "inch"

[[parts]]
id = "long"
quantity = 2
material = "white-oak"
length = "40 in"
width = "2 1/2 in"
thickness = "7/8 in"
[[parts.operations]]
kind = "groove"
program = "long-groove"
cutter = "SQ6"
width = "1/4 in"
depth = "3/8 in"
[[parts.operations]]
kind = "sink"
program = "gains"
cutter = "SQ6"
length = "2 in"
width = "5/8 in"
depth = "1/8 in"

[[parts]]
id = "short"
quantity = 2
material = "white-oak"
length = "15 in"
width = "2 1/2 in"
thickness = "7/8 in"
[[parts.operations]]
kind = "groove"
program = "short-groove"
cutter = "SQ6"
width = "1/4 in"
depth = "3/8 in"

[[parts]]
id = "panel"
quantity = 1
material = "yellow-poplar"
length = "15 in"
width = "11 in"
thickness = "3/4 in"
glued = true
[[parts.operations]]
kind = "carve"
program = "bird"
cutter = "TB3"
length = "10 in"
width = "8 in"
depth = "3/8 in"
hours = "2 h"
[[parts.operations]]
kind = "raise"
program = "edge"
cutter = "BALL12"
width = "1 1/2 in"
depth = "0.3225 in"
rim = "7/16 in"

[[programs]]
id = "long-groove"
station = "edge"
[[programs]]
id = "short-groove"
station = "edge"
[[programs]]
id = "gains"
station = "edge"
[[programs]]
id = "bird"
station = "flat"
[[programs]]
id = "edge"
station = "flat"
"""

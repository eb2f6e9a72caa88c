"""Published tables, written out a second time: double entry against a slip in a shipped table.

Each string gives the values of a published table in its own order and units,
with the source beside it. It guards against a mistyped or later altered row;
where the shipped table is from memory it is no second source, and says so.
Facts only.
"""


def lines(text: str) -> list[list[str]]:
    """Return a table's words, line by line."""
    return [line.split() for line in text.strip().splitlines()]


CLEARANCE_METRIC = """
M3 3.2 3.4 3.6
M4 4.3 4.5 4.8
M5 5.3 5.5 5.8
M6 6.4 6.6 7
M8 8.4 9 10
M10 10.5 11 12
M12 13 13.5 14.5
M14 15 15.5 16.5
M16 17 17.5 18.5
M18 19 20 21
M20 21 22 24
M22 23 24 26
M24 25 26 28
"""
"""ISO 273: screw, fine, medium, coarse, mm."""

SOCKET_HEAD_METRIC = """
M3 5.5 3 2.5 6.5
M4 7 4 3 8
M5 8.5 5 4 10
M6 10 6 5 11
M8 13 8 6 15
M10 16 10 8 18
M12 18 12 10 20
M14 21 14 12 24
M16 24 16 14 26
M20 30 20 17 33
M24 36 24 19 40
"""
"""ISO 4762: screw, head diameter, head height, key; DIN 974-1 series 1 counterbore; mm."""

TAP_DRILLS_METRIC = """
M3 0.5 2.5 2.675 2.459
M4 0.7 3.3 3.545 3.242
M5 0.8 4.2 4.480 4.134
M6 1 5.0 5.350 4.917
M8 1.25 6.8 7.188 6.647
M10 1.5 8.5 9.026 8.376
M12 1.75 10.2 10.863 10.106
M14 2 12.0 12.701 11.835
M16 2 14.0 14.701 13.835
M18 2.5 15.5 16.376 15.294
M20 2.5 17.5 18.376 17.294
M22 2.5 19.5 20.376 19.294
M24 3 21.0 22.051 20.752
"""
"""ISO 261, ISO 724: screw, pitch, tap drill, pitch diameter, minor diameter; mm."""

TAP_DRILLS_INCH = """
1/4-20 #7 7/32
1/4-28 #3 #1
1/4-32 7/32 #1
5/16-18 F J
5/16-24 I 9/32
5/16-32 9/32 L
3/8-16 5/16 Q
3/8-24 Q S
3/8-32 11/32 T
7/16-14 U 25/64
7/16-20 25/64 13/32
7/16-28 Y Z
1/2-13 27/64 29/64
1/2-20 29/64 15/32
1/2-28 15/32 15/32
9/16-12 31/64 33/64
9/16-18 33/64 17/32
9/16-24 33/64 17/32
5/8-11 17/32 9/16
5/8-18 37/64 19/32
5/8-24 37/64 19/32
11/16-24 41/64 21/32
3/4-10 21/32 11/16
3/4-16 11/16 45/64
3/4-20 45/64 23/32
13/16-20 49/64 25/32
7/8-9 49/64 51/64
7/8-14 13/16 53/64
7/8-20 53/64 27/32
15/16-20 57/64 29/32
1-8 7/8 59/64
1-12 15/16 61/64
1-20 61/64 31/32
"""
"""Trade tap-drill table: thread, drill for about 75 %, drill for hard material."""

LETTER_DRILLS = """
A 0.234 B 0.238 C 0.242 D 0.246 E 0.250 F 0.257 G 0.261 H 0.266 I 0.272
J 0.277 K 0.281 L 0.290 M 0.295 N 0.302 O 0.316 P 0.323 Q 0.332 R 0.339
S 0.348 T 0.358 U 0.368 V 0.377 W 0.386 X 0.397 Y 0.404 Z 0.413
"""
"""Trade table: letter, inch."""

CASTING_TOLERANCE = """
0 10 0.09 0.13 0.18 0.26 0.36 0.52 0.74 1 1.5 2 2.8 4.2 - - - -
10 16 0.1 0.14 0.2 0.28 0.38 0.54 0.78 1.1 1.6 2.2 3 4.4 - - - -
16 25 0.11 0.15 0.22 0.3 0.42 0.58 0.82 1.2 1.7 2.4 3.2 4.6 6 8 10 12
25 40 0.12 0.17 0.24 0.32 0.46 0.64 0.9 1.3 1.8 2.6 3.6 5 7 9 11 14
40 63 0.13 0.18 0.26 0.36 0.5 0.7 1 1.4 2 2.8 4 5.6 8 10 12 16
63 100 0.14 0.2 0.28 0.4 0.56 0.78 1.1 1.6 2.2 3.2 4.4 6 9 11 14 18
100 160 0.15 0.22 0.3 0.44 0.62 0.88 1.2 1.8 2.5 3.6 5 7 10 12 16 20
160 250 - 0.24 0.34 0.5 0.7 1 1.4 2 2.8 4 5.6 8 11 14 18 22
250 400 - - 0.4 0.56 0.78 1.1 1.6 2.2 3.2 4.4 6.2 9 12 16 20 25
400 630 - - - 0.64 0.9 1.2 1.8 2.6 3.6 5 7 10 14 18 22 28
630 1000 - - - - 1 1.4 2 2.8 4 6 8 11 16 20 25 32
1000 1600 - - - - - 1.6 2.2 3.2 4.6 7 9 13 18 23 29 37
1600 2500 - - - - - - 2.6 3.8 5.4 8 10 15 21 26 33 42
2500 4000 - - - - - - - 4.4 6.2 9 12 17 24 30 38 49
4000 6300 - - - - - - - - 7 10 14 20 28 35 44 56
6300 10000 - - - - - - - - - 11 16 23 32 40 50 64
"""
"""ISO 8062-3 table 2: over, up to, DCTG 1 to 16, total width, mm; "-" where none is given."""

MACHINING_ALLOWANCE = """
0 40 0.1 0.1 0.2 0.3 0.4 0.5 0.5 0.7 1 1.4
40 63 0.1 0.2 0.3 0.3 0.4 0.5 0.7 1 1.4 2
63 100 0.2 0.3 0.4 0.5 0.7 1 1.4 2 2.8 4
100 160 0.3 0.4 0.5 0.8 1.1 1.5 2.2 3 4 6
160 250 0.3 0.5 0.7 1 1.4 2 2.8 4 5.5 8
250 400 0.4 0.7 0.9 1.3 1.8 2.5 3.5 5 7 10
400 630 0.5 0.8 1.1 1.5 2.2 3 4 6 9 12
630 1000 0.6 0.9 1.2 1.8 2.5 3.5 5 7 10 14
1000 1600 0.7 1 1.4 2 2.8 4 5.5 8 11 16
1600 2500 0.8 1.1 1.6 2.2 3.2 4.5 6 9 13 18
2500 4000 0.9 1.3 1.8 2.5 3.5 5 7 10 14 20
4000 6300 1 1.4 2 2.8 4 5.5 8 11 16 22
6300 10000 1.1 1.5 2.2 3 4.5 6 9 12 17 24
"""
"""ISO 8062-3 (from memory, column G corroborated): over, up to, RMAG A to K, mm."""

DRAFT = """
wood 0-1 3.00 3.00
wood 1-2 1.50 2.50
wood 2-4 1.00 1.50
wood 4-8 0.75 1.00
wood 8-32 0.50 1.00
plastic 0-1 1.50 3.00
plastic 1-2 1.00 2.00
plastic 2-4 0.75 1.00
plastic 4-8 0.50 1.00
plastic 8-32 0.50 0.75
"""
"""NPTEL casting lecture notes, table 2: pattern, height in inches, external, internal, degrees."""

FOUNDRY_ALLOWANCES = """
60 4 1
100 4 1
160 5 1
250 6 2
400 7 3
630 8 3
1000 9 4
1600 9 4
2500 11 4
4000 12 4
6000 14 4
"""
"""A foundry: longest axis up to, allowance per face, more on upper faces; mm."""

STANDARD_TOLERANCES = """
0 3 0.006 0.010 0.014 0.025 0.040 0.060
3 6 0.008 0.012 0.018 0.030 0.048 0.075
6 10 0.009 0.015 0.022 0.036 0.058 0.090
10 18 0.011 0.018 0.027 0.043 0.070 0.110
18 30 0.013 0.021 0.033 0.052 0.084 0.130
30 50 0.016 0.025 0.039 0.062 0.100 0.160
50 80 0.019 0.030 0.046 0.074 0.120 0.190
80 120 0.022 0.035 0.054 0.087 0.140 0.220
120 180 0.025 0.040 0.063 0.100 0.160 0.250
180 250 0.029 0.046 0.072 0.115 0.185 0.290
250 315 0.032 0.052 0.081 0.130 0.210 0.320
315 400 0.036 0.057 0.089 0.140 0.230 0.360
400 500 0.040 0.063 0.097 0.155 0.250 0.400
"""
"""ISO 286-1 standard tolerances (a published table): over, up to, IT6 to IT11, mm."""

GENERAL_TOLERANCES = """
0.5 3 0.05 0.1 0.2
3 6 0.05 0.1 0.3
6 30 0.1 0.2 0.5
30 120 0.15 0.3 0.8
120 400 0.2 0.5 1.2
400 1000 0.3 0.8 2
1000 2000 0.5 1.2 3
"""
"""ISO 2768-1 table 1 (from memory): from (over), up to, plus and minus of classes f, m, c, mm."""

COUNTERSUNK_METRIC = """
M3 5.54 6.72
M4 7.53 8.96
M5 9.43 11.20
M6 11.34 13.44
M8 15.24 17.92
M10 19.22 22.40
M12 23.12 26.88
M14 26.52 30.80
M16 29.01 33.60
M20 36.05 40.32
"""
"""ISO 10642 (a published table): screw, least head diameter, theoretical greatest, mm."""

COUNTERSUNK_INCH = """
4 0.255 0.218
5 0.281 0.240
6 0.307 0.263
8 0.359 0.311
10 0.411 0.359
1/4 0.531 0.480
5/16 0.656 0.600
3/8 0.781 0.720
7/16 0.844 0.781
1/2 0.938 0.872
5/8 1.188 1.112
3/4 1.438 1.355
"""
"""ASME B18.3 flat countersunk head (a published table): screw, greatest, least head diameter, inch."""

SOCKET_HEAD_INCH = """
4 0.183 0.112 3/32
5 0.205 0.125 3/32
6 0.226 0.138 7/64
8 0.270 0.164 9/64
10 0.313 0.190 5/32
1/4 0.375 0.250 3/16
5/16 0.469 0.313 1/4
3/8 0.563 0.375 5/16
7/16 0.656 0.438 3/8
1/2 0.750 0.500 3/8
5/8 0.938 0.625 1/2
3/4 1.125 0.750 5/8
7/8 1.313 0.875 3/4
1 1.500 1.000 3/4
"""
"""ASME B18.3 (published tables): screw, head diameter, head height, key, inch, to three places."""

CLEARANCE_INCH = """
8 0.180 0.196 0.213
10 0.206 0.221 0.238
1/4 0.266 0.281 0.297
5/16 0.328 0.344 0.359
3/8 0.391 0.406 0.422
7/16 0.453 0.469 0.484
1/2 0.531 0.562 0.609
5/8 0.656 0.688 0.734
3/4 0.781 0.812 0.906
7/8 0.906 0.938 1.031
1 1.031 1.094 1.156
"""
"""ASME B18.2.8 (a published table): screw, close, normal, loose, inch, to three places."""

NUMBER_DRILLS = """
17 0.173 18 0.1695 19 0.166 20 0.161 21 0.159 22 0.157 23 0.154 24 0.152
25 0.1495 26 0.147 27 0.144 28 0.1405 29 0.136 30 0.1285 31 0.12 32 0.116
33 0.113 34 0.111 35 0.11 36 0.1065 37 0.104 38 0.1015 39 0.0995 40 0.098
41 0.096 42 0.0935 43 0.089 44 0.086 45 0.082 46 0.081 47 0.0785 48 0.076
49 0.073 50 0.07 51 0.067 52 0.0635 53 0.0595 54 0.055 55 0.052 56 0.0465
57 0.043 58 0.042 59 0.041 60 0.04 61 0.039 62 0.038 63 0.037 64 0.036
65 0.035 66 0.033 67 0.032 68 0.031 69 0.0292 70 0.028 71 0.026 72 0.025
73 0.024 74 0.0225 75 0.021 76 0.02 77 0.018 78 0.016 79 0.0145 80 0.0135
1 0.228 2 0.221 3 0.213 4 0.209 7 0.201 8 0.199 9 0.196 10 0.1935
12 0.189 13 0.185 14 0.182 16 0.177
"""
"""Published drill tables: number, inch."""

NUMBERED_TAP_DRILLS = """
4 .1120 40 43 48 42
5 .1250 40 38 44 37
6 .1380 32 36 40 33
8 .1640 32 29 36 29
10 .1900 24 25 32 21
12 .2160 24 16 28 14
"""
"""Published tap-drill tables, 75 %: size, major diameter in inches, then threads an inch and drill, coarse and fine."""

FINE_THREADS = """
M8 1.00 6.918 7.00
M10 1.25 8.647 8.80
M10 1.00 8.918 9.00
M12 1.50 10.376 10.50
M12 1.25 10.647 10.80
M14 1.50 12.376 12.50
M16 1.50 14.376 14.50
M18 1.50 16.376 16.50
M20 1.50 18.376 18.50
M22 1.50 20.376 20.50
"""
"""Published tap-drill table: screw, fine pitch, minor diameter, tap drill for 75 %; mm."""

CUTTING_SPEEDS = """
cast iron/drill 25-35
mild steel/drill 30-36
brass/drill 60-75
aluminium/drill 60-90
bronze/drill 30-45
cast iron/mill 15-30
mild steel/mill 25-35
brass/mill 60-150
aluminium/mill 60-150
"""
"""Published shop tables, high-speed steel: material, operation, m/min (aluminium drilling: the usual range on a manual mill)."""

HARD_IRON_SPEEDS = """
110-140 90-140
150-190 80-100
190-220 60-80
220-260 50-70
"""
"""Published table, grey iron: Brinell range, ft/min."""

DRILL_FEEDS = """
cast iron/0.13 0.18 0.25 0.31
mild steel/0.20 0.25 0.41 0.51
brass/0.20 0.25 0.41 0.51
aluminium/0.30 0.40 0.61 0.81
bronze/0.20 0.25 0.41 0.51
"""
"""Published shop tables: material, mm a revolution at 6, 12, 18 and 25 mm (bronze as brass)."""

TAPPING = """
low carbon steel/55 841 674 561 420
grey cast iron/70 1070 857 713 535
ductile iron/50 764 612 510 382
cast aluminium/60 917 735 611 459
brass free machining/60 917 735 611 459
cast bronze/50 764 612 510 382
"""
"""Tapping table: material, ft/min, and its rpm for M6 (1/4), M8 (.312), M10 (3/8), M12 (1/2)."""

CUTTING_FORCE = """
1150 0.20
1350 0.28
1225 0.25
1350 0.28
1420 0.30
1350 0.21
1500 0.22
800 0.25
700 0.25
750 0.25
700 0.27
"""
"""VDI 3323 groups (published): kc1.1 in N/mm2 and mc, in the order grey ferritic, grey pearlitic, SG ferritic, SG pearlitic,
malleable, steel below and from 0.25 % C, wrought aluminium (upper), cast aluminium to and above 12 % Si, copper alloys."""

JAW_FRICTION = """
0.07 0.12 0.20
0.10 0.20 0.35
0.15 0.30 0.45
"""
"""A chuck maker's table, steel: smooth, diamond, serrated jaws on finished, machined and rough work."""

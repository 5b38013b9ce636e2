"""Published Brinell tables the tests hold the formula against; the source stands at each."""

from __future__ import annotations

# 65 pairs of mean diameter (mm) and HBW 10/3000. Sources, overlapping:
#   2.45-4.80 Chicago Tube & Iron, hardness conversion chart
#   2.25-3.20 Canale, Mesquita, Totten, Failure Analysis of Heat Treated Steel Components (ASM),
#             table A3.4
#   2.05-5.25 Aartee Bright Bar and Springfix hardness comparison tables
#   2.50-4.70 Wallwork Heat Treatment hardness conversion charts
_FROM_2_05_IN_STEPS_OF_0_05 = """
899 856 817 780 745 712 682 653 627 601 578 555 534 514 495 477 461 444 429 415 401
388 375 363 352 341 331 321 311 302 293 285 277 269 262 255 248 241 235 229 223 217
212 207 201 197 192 187 183 179 174 170 167 163 159 156 152 149 146 143 140 137 134
131 128
"""
HBW_10_3000 = tuple(
    ((205 + 5 * i) / 100, int(hbw)) for i, hbw in enumerate(_FROM_2_05_IN_STEPS_OF_0_05.split())
)

# Minimum thickness (mm) against mean diameter (mm) per ball diameter: GB/T 231.1, annex B table
# (= ISO 6506-1 annex B).
MINIMUM_THICKNESS = {
    1.0: "0.2:0.08 0.3:0.18 0.4:0.33 0.5:0.54 0.6:0.80",
    2.5: "0.6:0.29 0.7:0.40 0.8:0.53 0.9:0.67 1.0:0.83 1.1:1.02 1.2:1.23 "
    "1.3:1.46 1.4:1.72 1.5:2.00",
    5.0: "1.2:0.58 1.3:0.69 1.4:0.80 1.5:0.92 1.6:1.05 1.7:1.19 1.8:1.34 1.9:1.50 2.0:1.67 "
    "2.2:2.04 2.4:2.46 2.6:2.92 2.8:3.43 3.0:4.00",
    10.0: "2.4:1.17 2.6:1.38 2.8:1.60 3.0:1.84 3.2:2.10 3.4:2.38 3.6:2.68 3.8:3.00 4.0:3.34 "
    "4.2:3.70 4.4:4.08 4.6:4.48 4.8:4.91 5.0:5.36 5.2:5.83 5.4:6.33 5.6:6.86 5.8:7.42 6.0:8.00",
}
MINIMUM_THICKNESS_ROWS = tuple(
    (ball, float(pair.split(":")[0]), float(pair.split(":")[1]))
    for ball, row in MINIMUM_THICKNESS.items()
    for pair in row.split()
)

# Nominal forces in newtons of the 21 scales: BS EN ISO 6506-1:2005 scale table, as printed.
NOMINAL_FORCES_N = {
    (10.0, 3000.0): 29420,
    (10.0, 1500.0): 14710,
    (10.0, 1000.0): 9807,
    (10.0, 500.0): 4903,
    (10.0, 250.0): 2452,
    (10.0, 100.0): 980.7,
    (5.0, 750.0): 7355,
    (5.0, 250.0): 2452,
    (5.0, 125.0): 1226,
    (5.0, 62.5): 612.9,
    (5.0, 25.0): 245.2,
    (2.5, 187.5): 1839,
    (2.5, 62.5): 612.9,
    (2.5, 31.25): 306.5,
    (2.5, 15.625): 153.2,
    (2.5, 6.25): 61.29,
    (1.0, 30.0): 294.2,
    (1.0, 10.0): 98.07,
    (1.0, 5.0): 49.03,
    (1.0, 2.5): 24.52,
    (1.0, 1.0): 9.807,
}

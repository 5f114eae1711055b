"""Published figures about labor, learning, shrinkage, regression and pricing, with their sources.

Marks: READ seen in the source; READ-2 seen in a page quoting it; MEM+CALC remembered, and reproduced
by an independent calculation; CALC closed form; MEM from memory only.
"""

from __future__ import annotations

# NIST StRD, Norris (linear regression, lower difficulty), itl.nist.gov/div898/strd. READ in the
# test suites of two numerical libraries. Columns: y, x.
NORRIS = (
    (0.1, 0.2),
    (338.8, 337.4),
    (118.1, 118.2),
    (888.0, 884.6),
    (9.2, 10.1),
    (228.1, 226.5),
    (668.5, 666.3),
    (998.5, 996.3),
    (449.1, 448.6),
    (778.9, 777.0),
    (559.2, 558.2),
    (0.3, 0.4),
    (0.1, 0.6),
    (778.1, 775.5),
    (668.8, 666.9),
    (339.3, 338.0),
    (448.9, 447.5),
    (10.8, 11.6),
    (557.7, 556.0),
    (228.3, 228.1),
    (998.0, 995.8),
    (888.8, 887.6),
    (119.6, 120.2),
    (0.3, 0.3),
    (0.6, 0.3),
    (557.6, 556.8),
    (339.3, 339.1),
    (888.0, 887.2),
    (998.5, 999.0),
    (778.9, 779.0),
    (10.2, 11.1),
    (117.6, 118.3),
    (228.9, 229.2),
    (668.4, 669.1),
    (449.2, 448.9),
    (0.2, 0.5),
)
NORRIS_B = (-0.262323073774029, 1.00211681802045)
NORRIS_SE = (0.232818234301152, 0.000429796848199937)
NORRIS_S = 0.884796396144373

# NIST StRD, Longley (higher difficulty); the data ship with statsmodels.datasets.longley. READ.
LONGLEY_B = (
    -3482258.63459582,
    15.0618722713733,
    -0.0358191792925910,
    -2.02022980381683,
    -1.03322686717359,
    -0.0511041056535807,
    1829.15146461355,
)
LONGLEY_S = 304.854073561965

# NIST StRD, Wampler1 and Wampler2 (higher difficulty): y is the exact polynomial of degree 5 in
# x = 0..20, with all coefficients 1, and with coefficients 10**-k. READ.
WAMPLER_X = tuple(range(21))

# Normal-inverse-gamma regression in closed form. CALC: checked against the multivariate-t density
# of the same data. x, y, prior mean 0, prior covariance 100 I, a0 = b0 = 1.
NIG_X = (1, 2, 3, 4, 5, 6)
NIG_Y = (2.1, 3.9, 6.2, 7.8, 10.1, 12.2)
NIG_MEAN = (-0.0158252, 2.0188147)
NIG_SHAPE, NIG_SCALE = 4.0, 1.0843916
NIG_AT_7 = {
    "centre": 14.115878,
    "spread": 0.710759,
    "freedom": 8,
    "low": 12.47687,
    "high": 15.75489,
}

# Efron and Morris, JASA 70:311 (1975): 18 batters, first 45 times at bat (share y) and the rest of
# the season. Data READ; the published arcsine scale: x and theta are sqrt(45) asin(2 y - 1).
# Total squared error of the raw x 17.56, of their estimate 5.01 (READ; from rounded x).
EFRON_MORRIS = (
    (-1.351, -2.1),  # Clemente
    (-1.657, -2.79),  # F.Robinson
    (-1.966, -3.116),  # F.Howard
    (-2.28, -3.955),  # Johnstone
    (-2.599, -3.161),  # Berry
    (-2.599, -3.206),  # Spencer
    (-2.924, -3.313),  # Kessinger
    (-3.257, -4.151),  # Alvarado
    (-3.599, -3.222),  # Santo
    (-3.599, -3.827),  # Swoboda
    (-3.951, -3.297),  # Unser
    (-3.951, -3.42),  # Williams
    (-3.951, -2.717),  # Scott
    (-3.951, -3.297),  # Petrocelli
    (-3.951, -3.891),  # Rodriguez
    (-4.317, -2.982),  # Campaneris
    (-4.698, -2.528),  # Munson
    (-5.098, -4.317),  # Alvis
)
EFRON_MORRIS_RAW_ERROR, EFRON_MORRIS_JS_ERROR = 17.56, 5.01

# Crawford's unit learning model at 90 %: b = log2(0.9); time of units 2, 4, 8 over unit 1. CALC;
# the model after Crawford 1944 (from memory).
CRAWFORD_90 = {2: 0.9, 4: 0.81, 8: 0.729}

# Lognormal cost: P80 over P50 and mean over P50 by coefficient of variation. CALC:
# sigma = sqrt(ln(1 + cv^2)), exp(0.8416 sigma), exp(sigma^2 / 2).
LOGNORMAL = {
    0.1: (1.0876, 1.0050),
    0.2: (1.1814, 1.0198),
    0.3: (1.2803, 1.0440),
    0.5: (1.4882, 1.1180),
}

# A markup of 25 % of cost is a margin of 20 % of the price. CALC; trade textbooks say the same.
MARKUP_MARGIN = ((0.25, 0.20), (1.0, 0.5), (1.0 / 3.0, 0.25))

# Placing slabs, labor-hours a yard: Peterson/Dagostino, Estimating in Building Construction,
# Fig. 10.17, slab direct chute 0.32 (READ, order of the table inferred); Storm, Industrial Process
# Plant Construction Estimating and Man-Hour Analysis, Sched. G, slab at grade 1.00 (READ, unit
# column inferred).
PLACE_H_PER_YD3 = (0.32, 1.00)

# Machine trowel: 1 labor-hour per 100 ft2, Peterson/Dagostino Fig. 10.30. READ.
TROWEL_H_PER_100FT2 = 1.0

# Gillette and Hill, Concrete Construction: Methods and Costs, 1908 (public domain). READ.
# men, hours, yards, USD an hour, cents a yard as printed. Hand-mix rates: arithmetic, no par.
GILLETTE_HILL = (
    ("p. 121, machine mixer, whole gang", 40, 10, 167, 0.20, 48),
    ("p. 121, mixing and placing men only", 34, 10, 167, 0.20, 41),
)

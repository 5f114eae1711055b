"""Printed numbers that the week's statistics must reproduce, each with its source."""

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 Individuals Control Charts: flow rates.
NIST_FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
NIST_FLOW_MEAN = 50.81
NIST_FLOW_MEAN_RANGE = 1.8778
NIST_FLOW_UPPER = 55.8041
NIST_FLOW_LOWER = 45.8159

# Thirty constructed workdays (square feet, labor-hours) for the baseline method as Thomas and
# Zavrski (1999, JCEM 125(5):295-303) define it; the expected values were worked out by hand in a
# spreadsheet from the definition, not taken from the paper.
BASELINE_SQFT = (
    520, 610, 480, 655, 590, 700, 310, 640, 720, 560, 450, 680, 275, 630, 590, 745, 505, 610, 660,
    330, 585, 695, 540, 615, 240, 670, 600, 575, 710, 490,
)  # fmt: skip
BASELINE_HOURS = (
    40.0, 44.0, 40.0, 46.0, 42.0, 46.0, 40.0, 44.0, 46.0, 42.0, 40.0, 46.0, 44.0, 44.0, 42.0, 48.0,
    40.0, 44.0, 46.0, 40.0, 42.0, 46.0, 40.0, 44.0, 40.0, 46.0, 42.0, 42.0, 46.0, 40.0,
)  # fmt: skip
BASELINE_DAYS = (6, 9, 16, 22, 29)
BASELINE_HOURS_PER_FT2 = 0.0647887
BASELINE_DISRUPTED_DAYS = (13, 25)
BASELINE_DISRUPTION_INDEX = 0.06667
BASELINE_EXPECTED = 0.065
BASELINE_WASTE_INDEX = 0.17386
BASELINE_PERFORMANCE_RATIO = 1.17061
BASELINE_CUMULATIVE = 0.0760895

# Newcombe 1998, Statistics in Medicine 17:857-872, Table I: 95 percent limits for x of n.
NEWCOMBE_SCORE = {
    (81, 263): (0.2553, 0.3662),
    (15, 148): (0.0624, 0.1605),
    (0, 20): (0.0, 0.1611),
    (1, 29): (0.0061, 0.1718),
}
NEWCOMBE_EXACT = {
    (81, 263): (0.2527, 0.3676),
    (15, 148): (0.0578, 0.1617),
    (0, 20): (0.0, 0.1684),
    (1, 29): (0.0009, 0.1776),
}

# Exact 95 percent limits of a Poisson mean (Garwood 1936, Biometrika 28:437-442; the chi-square
# relation that every handbook table of them rests on).
POISSON_EXACT = {
    0: (0.0, 3.6889),
    1: (0.0253, 5.5716),
    2: (0.2422, 7.2247),
    3: (0.6187, 8.7673),
    4: (1.0899, 10.2416),
    5: (1.6235, 11.6683),
    7: (2.8144, 14.4227),
    10: (4.7954, 18.3904),
    15: (8.3954, 24.7402),
    20: (12.2165, 30.8884),
    30: (20.2409, 42.8269),
}

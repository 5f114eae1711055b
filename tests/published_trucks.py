"""Published numbers about queues, trucks and daylight that the tests compare with.

Each has its source; where there is none, it says so.
"""

ONE_SERVER = (
    # model, arrivals an hour, served an hour, spread of service over its mean, mean in line, wait h
    ("M/M/1", 3.0, 4.0, 1.0, 2.25, 0.75),
    ("M/D/1", 3.0, 4.0, 0.0, 1.125, 0.375),
    ("M/G/1", 3.0, 4.0, 0.5, 1.40625, 0.46875),
    ("M/M/1", 6.0, 10.0, 1.0, 0.9, 0.15),
    ("M/D/1", 6.0, 10.0, 0.0, 0.45, 0.075),
    ("M/M/1", 4.0, 7.0, 1.0, 0.761905, 0.190476),
)
"""Pollaczek-Khinchine: Lq = rho^2 (1 + cv^2) / (2 (1 - rho)), Wq = Lq / arrivals; any text on
queues. The first row stands in Render, Stair and Hanna, Quantitative Analysis for Management."""

ERLANG_C = (
    # offered load, servers, chance of waiting
    (2.0 / 3.0, 2, 0.166667),
    (2.0, 3, 0.444444),
    (6.0, 10, 0.101299),
    (48.0, 55, 0.238701),
)
"""Chance that all servers are busy, Erlang 1917; the first row in Render et al., the last two in
printed call-centre examples."""

FINITE_SOURCE = (
    # trucks, loads an hour, share of time the crew unloads, wait min
    (1, 1.22449, 0.30612, 0.0),
    (3, 3.00164, 0.75041, 10.96725),
    (4, 3.50436, 0.87609, 19.48607),
    (5, 3.78726, 0.94682, 30.21292),
)
"""Trucks going round: away 34 min and unloading 15 min, both exponential (machine repair model,
any text on queues; computed from its formulas)."""
AWAY_MIN, UNLOAD_MIN = 34.0, 15.0

MATCH = {"cycle_min": 49.0, "discharge_min": 15.0, "trucks": 5}
"""A worked truck match: load 14, haul 7.5, wait 7.5, discharge 15, return 5; 49/15 + 1 = 4.27."""

SUNSET_H = 17.339
"""17:20:19 UTC-7 on 2003-10-17 at 39.742476 N, 105.1786 W, 1830 m: the example of Reda and Andreas,
NREL/TP-560-34302 (sunset by the SPA tester, from memory, confirmed with pvlib)."""
SUNRISE_H = 6.212
"""06:12:43 on the same day; printed by the SPA tester."""

FREE_MIN_PER_YD3 = (6.0, 7.0)
"""Printed terms of two producers: 6 min/yd3, then 1.00 USD a minute; 7 min/yd3, then 130 USD/h."""
FREE_COMMON = 10.0
"""About ten minutes a yard: common practice, no source; 7.5 yd3 then has an hour and a quarter."""
AGE_LIMIT_MIN = 90.0
"""ASTM C94 until 2021: discharge within an hour and a half of water on cement."""
OVERRUN = (0.04, 0.10)
"""Order beyond the plan: NRMCA CIP 8."""

"""Printed numbers that the callbacks' statistics must reproduce, each with its source."""

# The sex2 data (urinary tract infection and contraceptives; Foxman et al. 1997, as R's logistf 1.x
# ships it and Heinze and Schemper 2002, Stat. Med. 21:2409-2419, analyse its kind): 239 women, 130
# cases, by age, oc, vic, vicl, vis, dia (0 or 1 each) with the number of cases and of controls.
SEX2_COLUMNS = ("age", "oc", "vic", "vicl", "vis", "dia")
SEX2 = {
    "000010": (1, 1), "001000": (14, 2), "001010": (3, 1), "001100": (10, 8), "001110": (12, 18),
    "001111": (1, 0), "010000": (44, 42), "010001": (3, 0), "010010": (0, 1), "011000": (15, 1),
    "011001": (1, 0), "011010": (2, 0), "011100": (7, 5), "011110": (3, 6), "101000": (2, 0),
    "101010": (1, 0), "101011": (1, 0), "101100": (1, 2), "101110": (0, 4), "101111": (1, 0),
    "110000": (5, 14), "110010": (0, 1), "111000": (3, 1), "111110": (0, 2),
}  # fmt: skip
# logistf's estimates, intercept first, and its penalised log likelihood.
SEX2_FIRTH = (0.12025405, -1.10598131, -0.06881673, 2.26887464, -2.11140817, -0.78831694, 3.09601)
SEX2_FIRTH_LOGLIK = -132.5394
# logistf's profile interval of dia, 95 %: it leaves zero out, where Wald's (-0.187, 6.379) doesn't.
SEX2_DIA_PROFILE = (0.7745682, 8.0302935)
# log-F(1, 1) on every slope (Greenland and Mansournia 2015, Stat. Med. 34:3133-3143), worked out
# in another program from the definition.
SEX2_LOG_F_1 = (0.156512, -1.063957, -0.097158, 2.186884, -2.043520, -0.777098, 2.952616)
# 95 % limits of an odds ratio under log-F(m, m) before any data (the same paper; from memory for m
# of 1 to 3, and equal to the F distribution's quantile).
LOG_F_LIMITS = {1: 648.0, 2: 39.0, 3: 15.4}
# 0 of 20 against 4 of 20: Firth's slope is the log odds ratio with a half added to each cell;
# log-F(1, 1) and (2, 2) slopes solved in closed form.
TWO_BY_TWO = ((0, 20), (4, 20))
TWO_BY_TWO_FIRTH = 2.414289
TWO_BY_TWO_LOG_F = {1: 2.340692, 2: 1.707973}

# Freireich et al. 1963 (Blood 21:699-716), weeks in remission on 6-MP and placebo, as every text on
# survival has it: Kaplan and Meier's curve of 6-MP after each of its weeks, printed to four digits.
REMISSION_6MP = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
REMISSION_MEDIANS = {"6mp": 23.0, "placebo": 8.0}
REMISSION_LOG_RANK = 16.793

# Exact binomial limits of a funnel around 5 %, interpolated (Spiegelhalter 2005, Stat. Med.
# 24:1185-1202, appendix A.1), worked out in another program: (trials, level): (low, high).
FUNNEL_5_PERCENT = {
    (10, 0.95): (0.0, 0.18192), (10, 0.998): (0.0, 0.30295), (20, 0.95): (0.0, 0.14236),
    (20, 0.998): (0.0, 0.23506), (30, 0.95): (0.0, 0.12642), (30, 0.998): (0.0, 0.19475),
    (50, 0.95): (0.0, 0.10983), (50, 0.998): (0.0, 0.15799), (100, 0.95): (0.00612, 0.09191),
    (100, 0.998): (0.0, 0.12464), (200, 0.95): (0.01958, 0.07971), (200, 0.998): (0.00654, 0.10118),
    (500, 0.95): (0.03071, 0.06899), (500, 0.998): (0.02158, 0.0816),
}  # fmt: skip

# g chart of cases between events (Benneyan 2001): a mean of 20 gives an upper limit of 81.48.
G_MEAN, G_UPPER = 20.0, 81.48
# t chart, exponential: 6.6077 and 0.00135 mean times (Borror, Keats and Montgomery 2003).
T_UPPER, T_LOWER = 6.6077, 0.00135

# Brown, Cai and DasGupta 2001 (Statistical Science 16:101-133), coverage of nominal 95 % intervals
# of a share, (trials, share): coverage. Of the textbook interval, as their introduction and section
# 2 give it, from memory and equal to the binomial sums to the digits given.
BROWN_CAI_DASGUPTA_WALD = {
    (100, 0.106): 0.952, (100, 0.107): 0.911, (30, 0.2): 0.946, (98, 0.2): 0.928,
    (17, 0.5): 0.951, (40, 0.5): 0.919,
}  # fmt: skip
# Of the score interval close to zero: just below a mean count of 0.1765 it comes to 0.838, its
# worst place (section 4.1.1, from memory; the exponential of -0.1765).
BROWN_CAI_DASGUPTA_SCORE_WORST = (0.1765, 0.838)

# Limits of a g chart (Benneyan 2001, Health Care Management Science 4:305-318: mean and three of
# sqrt(mean (mean + 1)), none below) worked out by hand: sqrt(12) and sqrt(20 x 21).
G_CHARTS = {3.0: 3.0 + 3.0 * 3.4641016, 20.0: G_UPPER}

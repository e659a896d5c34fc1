"""Figures of the tidal constituents. Data only; `constituents` reads it.

The figures are those of Foreman's lists [1]_. Of his 146 constituents those are here that have a name of the trade: Z0,
which is the mean, the nameless combinations and M7, whose phase three and a half times M2 leaves open, are not.

References
----------
.. [1] M. G. G. Foreman, *Manual for Tidal Heights Analysis and Prediction*, Pacific Marine Science Report 77-10,
   Institute of Ocean Sciences, Patricia Bay, 1977 (revised 2004); the theory is A. T. Doodson's, *The harmonic
   development of the tide-generating potential*, Proc. R. Soc. A 100, 1921.
"""

__all__ = ["COMBINED", "MAIN", "SATELLITES"]

MAIN = """
SA    0  0  1  0  0 -1  0.00; SSA   0  0  2  0  0  0  0.00
MSM   0  1 -2  1  0  0  0.00; MM    0  1  0 -1  0  0  0.00; MSF   0  2 -2  0  0  0  0.00
MF    0  2  0  0  0  0  0.00; ALP1  1 -4  2  1  0  0 -0.25; 2Q1   1 -3  0  2  0  0 -0.25
SIG1  1 -3  2  0  0  0 -0.25; Q1    1 -2  0  1  0  0 -0.25; RHO1  1 -2  2 -1  0  0 -0.25
O1    1 -1  0  0  0  0 -0.25; TAU1  1 -1  2  0  0  0 -0.75; BET1  1  0 -2  1  0  0 -0.75
NO1   1  0  0  1  0  0 -0.75; CHI1  1  0  2 -1  0  0 -0.75; PI1   1  1 -3  0  0  1 -0.25
P1    1  1 -2  0  0  0 -0.25; S1    1  1 -1  0  0  1 -0.75; K1    1  1  0  0  0  0 -0.75
PSI1  1  1  1  0  0 -1 -0.75; PHI1  1  1  2  0  0  0 -0.75; THE1  1  2 -2  1  0  0 -0.75
J1    1  2  0 -1  0  0 -0.75; OO1   1  3  0  0  0  0 -0.75; UPS1  1  4  0 -1  0  0 -0.75
OQ2   2 -3  0  3  0  0  0.00; EPS2  2 -3  2  1  0  0  0.00; 2N2   2 -2  0  2  0  0  0.00
MU2   2 -2  2  0  0  0  0.00; N2    2 -1  0  1  0  0  0.00; NU2   2 -1  2 -1  0  0  0.00
GAM2  2  0 -2  2  0  0 -0.50; H1    2  0 -1  0  0  1 -0.50; M2    2  0  0  0  0  0  0.00
H2    2  0  1  0  0 -1  0.00; LDA2  2  1 -2  1  0  0 -0.50; L2    2  1  0 -1  0  0 -0.50
T2    2  2 -3  0  0  1  0.00; S2    2  2 -2  0  0  0  0.00; R2    2  2 -1  0  0 -1 -0.50
K2    2  2  0  0  0  0  0.00; ETA2  2  3  0 -1  0  0  0.00; M3    3  0  0  0  0  0 -0.50
"""
"""Name, multiples of tau, s, h, p, N' and p', and the phase [cycles] that is added."""

SATELLITES = """
ALP1: -1 0 0 .0360 .75 diurnal, 0 -1 0 .1906 0
2Q1: -2 -2 0 .0063 .5, -1 -1 0 .0241 .75 diurnal, -1 0 0 .0607 .75 diurnal, 0 -2 0 .0063 .5, 0 -1 0 .1885 0
SIG1: -1 0 0 .0095 .75 diurnal, 0 -2 0 .0061 .5, 0 -1 0 .1884 0, 2 0 0 .0087 .5
Q1: -2 -3 0 .0007 .5, -2 -2 0 .0039 .5, -1 -2 0 .0010 .75 diurnal, -1 -1 0 .0115 .75 diurnal
Q1: -1 0 0 .0292 .75 diurnal, 0 -2 0 .0057 .5, -1 0 1 .0008 0, 0 -1 0 .1884 0, 1 0 0 .0018 .75 diurnal
Q1: 2 0 0 .0028 .5
RHO1: 0 -2 0 .0058 .5, 0 -1 0 .1882 0, 1 0 0 .0131 .75 diurnal, 2 0 0 .0576 .5, 2 1 0 .0175 0
O1: -1 0 0 .0003 .25 diurnal, 0 -2 0 .0058 .5, 0 -1 0 .1885 0, 1 -1 0 .0004 .25 diurnal, 1 0 0 .0029 .75 diurnal
O1: 1 1 0 .0004 .25 diurnal, 2 0 0 .0064 .5, 2 1 0 .0010 .5
TAU1: -2 0 0 .0446 0, -1 0 0 .0426 .25 diurnal, 0 -1 0 .0284 .5, 0 1 0 .2170 .5, 0 2 0 .0142 .5
BET1: 0 -1 0 .2266 0
NO1: -2 -2 0 .0057 .5, -2 -1 0 .0665 0, -2 0 0 .3596 0, -1 -1 0 .0331 .75 diurnal, -1 0 0 .2227 .25 diurnal
NO1: -1 1 0 .0290 .75 diurnal, 0 -1 0 .0290 .5, 0 1 0 .2004 0, 0 2 0 .0054 .5
CHI1: 0 -1 0 .0282 .5, 0 1 0 .2187 0
PI1: 0 -1 0 .0078 .5
P1: 0 -2 0 .0008 0, 0 -1 0 .0112 .5, 0 0 2 .0004 .5, 1 0 0 .0004 .75 diurnal, 2 0 0 .0015 .5, 2 1 0 .0003 .5
S1: 0 0 -2 .3534 0, 0 1 0 .0264 .5
K1: -2 -1 0 .0002 0, -1 -1 0 .0001 .75 diurnal, -1 0 0 .0007 .25 diurnal, -1 1 0 .0001 .75 diurnal
K1: 0 -2 0 .0001 0, 0 -1 0 .0198 .5, 0 1 0 .1356 0, 0 2 0 .0029 .5, 1 0 0 .0002 .25 diurnal
K1: 1 1 0 .0001 .25 diurnal
PSI1: 0 1 0 .0190 0
PHI1: -2 0 0 .0344 0, -2 1 0 .0106 0, 0 0 -2 .0132 0, 0 1 0 .0384 .5, 0 2 0 .0185 .5
THE1: -2 -1 0 .0300 0, -1 0 0 .0141 .25 diurnal, 0 -1 0 .0317 .5, 0 1 0 .1993 0
J1: 0 -1 0 .0294 .5, 0 1 0 .1980 0, 0 2 0 .0047 .5, 1 -1 0 .0027 .75 diurnal, 1 0 0 .0816 .25 diurnal
J1: 1 1 0 .0331 .25 diurnal, 1 2 0 .0027 .25 diurnal, 2 0 0 .0152 .5, 2 1 0 .0098 .5, 2 2 0 .0057 .5
OO1: -2 -1 0 .0037 .5, -2 0 0 .1496 0, -2 1 0 .0296 0, -1 0 0 .0240 .25 diurnal, -1 1 0 .0099 .25 diurnal
OO1: 0 1 0 .6398 0, 0 2 0 .1342 0, 0 3 0 .0086 0
UPS1: -2 0 0 .0611 0, 0 1 0 .6399 0, 0 2 0 .1318 0, 1 0 0 .0289 .25 diurnal, 1 1 0 .0257 .25 diurnal
OQ2: -1 0 0 .1042 .25 semidiurnal, 0 -1 0 .0386 .5
EPS2: -1 -1 0 .0075 .25 semidiurnal, -1 0 0 .0402 .25 semidiurnal, 0 -1 0 .0373 .5
2N2: -2 -2 0 .0061 .5, -1 -1 0 .0117 .25 semidiurnal, -1 0 0 .0678 .25 semidiurnal, 0 -1 0 .0374 .5
MU2: -1 -1 0 .0018 .25 semidiurnal, -1 0 0 .0104 .25 semidiurnal, 0 -1 0 .0375 .5
N2: -2 -2 0 .0039 .5, -1 0 1 .0008 0, 0 -2 0 .0005 0, 0 -1 0 .0373 .5
NU2: 0 -1 0 .0373 .5, 1 0 0 .0042 .75 semidiurnal, 2 0 0 .0042 0, 2 1 0 .0036 .5
GAM2: -2 -2 0 .1429 0, -1 0 0 .0293 .25 semidiurnal, 0 -1 0 .0330 .5
H1: 0 -1 0 .0224 .5, 1 0 -1 .0447 .5
M2: -1 -1 0 .0001 .75 semidiurnal, -1 0 0 .0004 .75 semidiurnal, 0 -2 0 .0005 0, 0 -1 0 .0373 .5
M2: 1 -1 0 .0001 .25 semidiurnal, 1 0 0 .0009 .75 semidiurnal, 1 1 0 .0002 .75 semidiurnal, 2 0 0 .0006 0
M2: 2 1 0 .0002 0
H2: 0 -1 0 .0217 .5
LDA2: 0 -1 0 .0448 .5
L2: 0 -1 0 .0366 .5, 2 -1 0 .0047 0, 2 0 0 .2505 .5, 2 1 0 .1102 .5, 2 2 0 .0156 .5
S2: 0 -1 0 .0022 0, 1 0 0 .0001 .75 semidiurnal, 2 0 0 .0001 0
R2: 0 0 2 .2535 .5, 0 1 2 .0141 0
K2: -1 0 0 .0024 .75 semidiurnal, -1 1 0 .0004 .75 semidiurnal, 0 -1 0 .0128 .5, 0 1 0 .2980 0, 0 2 0 .0324 0
ETA2: 0 -1 0 .0187 .5, 0 1 0 .4355 0, 0 2 0 .0467 0, 1 0 0 .0747 .75 semidiurnal, 1 1 0 .0482 .75 semidiurnal
ETA2: 1 2 0 .0093 .75 semidiurnal, 2 0 0 .0078 .5
M3: 0 -1 0 .0564 .5
"""
"""Name, then for each satellite: its further multiples of p, N' and p', amplitude by that of the main line, phase
[cycles], and after which species its amplitude goes with the latitude."""

COMBINED = """
2PO1 = 2 P1 - O1; SO1 = S2 - O1; 2NS2 = 2 N2 - S2; O2 = 2 O1; SNK2 = S2 + N2 - K2; OP2 = O1 + P1
MKS2 = M2 + K2 - S2; 2SK2 = 2 S2 - K2; MSN2 = M2 + S2 - N2; 2SM2 = 2 S2 - M2; SKM2 = S2 + K2 - M2
2SN2 = 2 S2 - N2; NO3 = N2 + O1; MO3 = M2 + O1; NK3 = N2 + K1; SO3 = S2 + O1; MK3 = M2 + K1; SP3 = S2 + P1
SK3 = S2 + K1; N4 = 2 N2; 3MS4 = 3 M2 - S2; MN4 = M2 + N2; M4 = 2 M2; SN4 = S2 + N2; KN4 = K2 + N2
MS4 = M2 + S2; MK4 = M2 + K2; SL4 = S2 + L2; S4 = 2 S2; SK4 = S2 + K2; MNO5 = M2 + N2 + O1; 2MO5 = 2 M2 + O1
3MP5 = 3 M2 - P1; MNK5 = M2 + N2 + K1; 2MP5 = 2 M2 + P1; 2MK5 = 2 M2 + K1; MSK5 = M2 + S2 + K1
3KM5 = K2 + K1 + M2; 2SK5 = 2 S2 + K1; 2NM6 = 2 N2 + M2; 2MN6 = 2 M2 + N2; M6 = 3 M2; MSN6 = M2 + S2 + N2
MKN6 = M2 + K2 + N2; 2MS6 = 2 M2 + S2; 2MK6 = 2 M2 + K2; NSK6 = N2 + S2 + K2; 2SM6 = 2 S2 + M2
MSK6 = M2 + S2 + K2; S6 = 3 S2; 3MK7 = 3 M2 + K1; 3MN8 = 3 M2 + N2; M8 = 4 M2; 3MS8 = 3 M2 + S2
3MK8 = 3 M2 + K2; 4MK9 = 4 M2 + K1; M10 = 5 M2; M12 = 6 M2
"""
"""Constituents of shallow water, as sums of the main ones."""

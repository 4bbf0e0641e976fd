"""Constants of nature and of counting that several rooms use."""

ZERO_C_K = 273.15
G_M_S2 = 9.80665
ATM_PA = 101_325.0
L_H_PER_M3_S = 3.6e6

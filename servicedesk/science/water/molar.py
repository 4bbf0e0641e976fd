"""Molar masses in g/mol from the IUPAC/CIAAW abridged standard atomic weights 2021 (conventional values
where an interval is given)."""

H, B, C, N, O, F = 1.008, 10.81, 12.011, 14.007, 15.999, 18.998
NA, MG, P, S, CL, K, CA, BR, SR, I = 22.990, 24.305, 30.974, 32.06, 35.45, 39.098, 40.078, 79.904, 87.62, 126.90

WATER = 2 * H + O
CO2 = C + 2 * O
CAO = CA + O
CACO3 = CA + C + 3 * O
CAOH2 = CA + 2 * (O + H)
NAHCO3 = NA + H + C + 3 * O
NA2CO3 = 2 * NA + C + 3 * O
CACL2 = CA + 2 * CL
CACL2_2H2O = CACL2 + 2 * WATER
MGCL2_6H2O = MG + 2 * CL + 6 * WATER
MGSO4_7H2O = MG + S + 4 * O + 7 * WATER
SRCL2_6H2O = SR + 2 * CL + 6 * WATER
KCL = K + CL
KI = K + I
NACL = NA + CL
H3BO3 = 3 * H + B + 3 * O
NO3 = N + 3 * O
NO2 = N + 2 * O
NH3 = N + 3 * H
PO4 = P + 4 * O

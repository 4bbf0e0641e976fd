"""The published sources of the formulas, by a short key that steps and worksheets name."""

SOURCES: dict[str, str] = {
    # water
    "UNESCO 44": "Fofonoff & Millard 1983, Algorithms for computation of fundamental properties of seawater, "
    "UNESCO Technical Papers in Marine Science 44",
    "TEOS-10": "IOC, SCOR and IAPSO 2010, The international thermodynamic equation of seawater 2010; IAPWS R13-08",
    "Millero 2008": "Millero, Feistel, Wright & McDougall 2008, The composition of standard seawater, "
    "Deep-Sea Research I 55:50",
    "Quan & Fry 1995": "Quan & Fry 1995, Empirical equation for the index of refraction of seawater, "
    "Applied Optics 34:3477",
    "Dickson 2007": "Dickson, Sabine & Christian 2007, Guide to best practices for ocean CO2 measurements, "
    "PICES Special Publication 3",
    "Lueker 2000": "Lueker, Dickson & Keeling 2000, Marine Chemistry 70:105",
    "Weiss 1974": "Weiss 1974, Carbon dioxide in water and seawater, Marine Chemistry 2:203",
    "Lee 2010": "Lee et al. 2010, The universal ratio of boron to chlorinity, Geochimica et Cosmochimica Acta 74:1801",
    "Takahashi 1982": "Takahashi et al. 1982, Carbonate chemistry, GEOSECS Pacific Expedition vol. 3 "
    "(activity coefficient of H on the NBS scale)",
    "Mucci 1983": "Mucci 1983, The solubility of calcite and aragonite in seawater, "
    "American Journal of Science 283:780",
    "Moras 2022": "Moras et al. 2022, Ocean alkalinity enhancement: avoiding runaway CaCO3 precipitation, "
    "Biogeosciences 19:3537",
    "Bates 1956": "Bates, Bower & Smith 1956, Calcium hydroxide as a highly alkaline pH standard, "
    "Journal of Research of the NBS 56:305",
    "Clegg & Whitfield 1995": "Clegg & Whitfield 1995, Geochimica et Cosmochimica Acta 59:2403",
    "Bell 2008": "Bell et al. 2008, Environmental Chemistry 5:258 (corrigendum to 4:183)",
    "Emerson 1975": "Emerson, Russo, Lund & Thurston 1975, Journal of the Fisheries Research Board of Canada 32:2379",
    "Garcia & Gordon 1992": "Garcia & Gordon 1992, Oxygen solubility in seawater, Limnology and Oceanography 37:1307 "
    "(coefficients of Benson & Krause)",
    "Ebeling 2006": "Ebeling, Timmons & Bisogni 2006, Engineering analysis of the stoichiometry of ammonia removal, "
    "Aquaculture 257:346",
    "Timmons & Ebeling": "Timmons & Ebeling, Recirculating Aquaculture (handbook), ammonia from feed",
    "Atkinson & Smith 1983": "Atkinson & Smith 1983, C:N:P ratios of benthic marine plants, "
    "Limnology and Oceanography 28:568",
    "Yao & Millero 1995": "Yao & Millero 1995, The chemistry of the anoxic waters in the Framvaren Fjord, "
    "Aquatic Geochemistry 1:53 (ammonium constant)",
    "Weiss & Price 1980": "Weiss & Price 1980, Nitrous oxide solubility in water and seawater, "
    "Marine Chemistry 8:347 (vapour pressure over seawater)",
    "Culkin & Smith 1980": "Culkin & Smith 1980, Determination of the concentration of potassium chloride solution, "
    "IEEE Journal of Oceanic Engineering 5:22 (conductivity of standard seawater)",
    "CRC Handbook": "CRC Handbook of Chemistry and Physics, concentrative properties of sodium chloride solutions",
    "IUPAC 2002": "Buck et al. 2002, Measurement of pH: definition, standards and procedures (IUPAC), "
    "Pure and Applied Chemistry 74:2169",
    "Span & Wagner 1996": "Span & Wagner 1996, A new equation of state for carbon dioxide, "
    "Journal of Physical and Chemical Reference Data 25:1509",
    "Jones 1931": "Jones 1931, Factors for converting percentages of nitrogen in foods into percentages of protein, "
    "USDA Circular 183",
    "CIAAW 2021": "CIAAW, Abridged standard atomic weights 2021",
    "stoichiometry": "Stoichiometry, with the molar masses of CIAAW 2021",
    "mass balance": "Mass balance",
    # plant
    "ASHRAE Fundamentals": "ASHRAE Handbook Fundamentals 2017, chapter 1 Psychrometrics (Hyland & Wexler 1983)",
    "ASHRAE Natatoriums": "ASHRAE Handbook HVAC Applications, Natatoriums: evaporation from pools",
    "Shah 2014": "Shah 2014, Methods for calculation of evaporation from swimming pools, ASHRAE Transactions 120(2)",
    "Witting 1908": "Witting 1908, vapour pressure of seawater (within 0.1 % of TEOS-10)",
    "Bowen 1926": "Bowen 1926, The ratio of heat losses by conduction and by evaporation from any water surface, "
    "Physical Review 27:779",
    "Newton": "Newton's law of cooling, integrated with losses that grow with the difference",
    "IAPWS-IF97": "IAPWS R7-97, Industrial formulation 1997 for water and steam",
    "Incropera": "Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, chapter 11 Heat exchangers",
    "Kays & London": "Kays & London, Compact Heat Exchangers: effectiveness and number of transfer units",
    "Colebrook 1939": "Colebrook 1939, friction factor of pipes; Darcy–Weisbach equation",
    "Hazen-Williams": "Hazen–Williams formula for water in full pipes, C = 150 for smooth plastic",
    "Munson": "Munson, Young & Okiishi, Fundamentals of Fluid Mechanics, chapters 8 and 12: loss coefficients of "
    "fittings, working point and affinity laws of pumps",
    "Sharqawy 2010": "Sharqawy, Lienhard & Zubair 2010, Thermophysical properties of seawater, "
    "Desalination and Water Treatment 16:354",
    "Kindsvater & Carter 1957": "Kindsvater & Carter 1957, Discharge characteristics of rectangular thin-plate weirs, "
    "ASCE Journal of the Hydraulics Division 83(6)",
    "Manning": "Manning equation of uniform open flow",
    "ASTM D4516": "ASTM D4516, Standardizing reverse osmosis performance data",
    "JCGM 100": "JCGM 100:2008 (GUM), Guide to the expression of uncertainty in measurement",
    "Levy": "Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells: Lévy's solution of rectangular plates",
    "geometry": "Geometry of solids",
    "Crane 410": "Crane Technical Paper 410, resistance of valves and fittings",
    "Francis": "Francis formula for contracted weirs; Rehbock 1929 for weirs of full width",
    "Wyly & Eaton 1961": "Wyly & Eaton 1961, Capacities of stacks in sanitary drainage systems, NBS Monograph 31",
    "NEC 210.20": "NFPA 70 National Electrical Code 210.20(A): continuous loads at 125 %, or local code",
    "NIST SP 811": "NIST Special Publication 811 (2008), appendix B: conversion factors",
    "energy balance": "Energy balance",
    "hydrostatics": "Hydrostatics",
    "common practice": "Common practice of the trade: an editable starting value, to be checked on site",
}


def cite(key: str) -> str:
    """The full reference of a source; raises KeyError for an unknown key."""
    return SOURCES[key]

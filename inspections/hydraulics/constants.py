"""Trade units in SI (exact) and the constants of water and air (portable subset)."""

INCH = 0.0254
FOOT = 0.3048
GALLON = 0.003785411784
"""US gallon, m3."""
GPM = GALLON / 60.0
LPM = 0.001 / 60.0
PSI = 6894.757293168362
BAR = 100000.0
GRAVITY = 9.80665
WATER_KG_M3 = 999.0
"""Density of water at 60 degF (IAPWS-95)."""
STANDARD_ATMOSPHERE_PA = 101325.0
STANDARD_AIR_K = 288.70555555555556
"""60 degF, the temperature of standard air."""
HEAT_RATIO = 1.4
"""Ratio of specific heats of air and nitrogen."""

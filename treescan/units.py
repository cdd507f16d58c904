"""Constants and conversions. Inside treescan everything is SI (m, kg, s, N, Pa, rad); conversions happen only at the edges."""

from __future__ import annotations

G = 9.80665
"""Standard gravity [m/s2] (exact by definition, CGPM 1901)."""

FOOT_M = 0.3048
"""International foot [m] (exact)."""

US_SURVEY_FOOT_M = 1200.0 / 3937.0
"""US survey foot [m] (exact)."""

POUND_KG = 0.45359237
"""Avoirdupois pound [kg] (exact)."""

OUNCE_KG = POUND_KG / 16.0
"""Avoirdupois ounce [kg]."""

LBF_N = POUND_KG * G
"""Pound-force [N]."""

PSI_PA = LBF_N / 0.0254**2
"""Pound-force per square inch [Pa]."""

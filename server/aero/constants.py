"""Constants that more than one physics file needs."""

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s²], 3rd CGPM 1901, exact."""

ZERO_CELSIUS_K = 273.15
"""0 °C on the kelvin scale [K], exact."""

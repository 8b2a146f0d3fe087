"""The units of logger headers: what each is in SI, and every spelling it goes by.

SI = written · scale + offset. Scales: SI brochure, 9th ed.; NIST SP 811 (2008), appendix B. The tests
hold every row against a general units library.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unit:
    """SI value = written · scale + offset; dimension is a word ("speed") or a quotient ("length/voltage")."""

    dimension: str
    scale: float = 1.0
    offset: float = 0.0


_INCH, _FOOT, _MILE, _NAUTICAL_MILE = 0.0254, 0.3048, 1609.344, 1852.0
_POUND, _G = 0.45359237, 9.80665
_PSI = _POUND * _G / _INCH**2
_DEGREE, _TURN = math.pi / 180.0, 2.0 * math.pi

# canonical name → unit; the canonical name is what pint calls it
TABLE: dict[str, Unit] = {
    "meter/second": Unit("speed"),
    "kilometer/hour": Unit("speed", 1.0 / 3.6),
    "mile/hour": Unit("speed", _MILE / 3600.0),
    "foot/second": Unit("speed", _FOOT),
    "knot": Unit("speed", _NAUTICAL_MILE / 3600.0),
    "centimeter/second": Unit("speed", 0.01),
    "millimeter/second": Unit("speed", 0.001),
    "meter/second**2": Unit("acceleration"),
    "standard_gravity": Unit("acceleration", _G),
    "millistandard_gravity": Unit("acceleration", 0.001 * _G),
    "foot/second**2": Unit("acceleration", _FOOT),
    "radian": Unit("angle"),
    "degree": Unit("angle", _DEGREE),
    "milliradian": Unit("angle", 0.001),
    "arcminute": Unit("angle", _DEGREE / 60.0),
    "1e-7*degree": Unit("angle", 1e-7 * _DEGREE),
    "radian/second": Unit("rotation"),
    "degree/second": Unit("rotation", _DEGREE),
    "revolution/minute": Unit("rotation", _TURN / 60.0),
    "revolution/second": Unit("rotation", _TURN),
    "hertz": Unit("frequency"),
    "kilohertz": Unit("frequency", 1000.0),
    "pascal": Unit("pressure"),
    "hectopascal": Unit("pressure", 100.0),
    "kilopascal": Unit("pressure", 1000.0),
    "megapascal": Unit("pressure", 1e6),
    "bar": Unit("pressure", 1e5),
    "millibar": Unit("pressure", 100.0),
    "pound_force_per_square_inch": Unit("pressure", _PSI),
    "standard_atmosphere": Unit("pressure", 101325.0),
    "kelvin": Unit("temperature"),
    "degree_Celsius": Unit("temperature", 1.0, 273.15),
    "degree_Fahrenheit": Unit("temperature", 5.0 / 9.0, 459.67 * 5.0 / 9.0),
    "meter": Unit("length"),
    "kilometer": Unit("length", 1000.0),
    "centimeter": Unit("length", 0.01),
    "millimeter": Unit("length", 0.001),
    "micrometer": Unit("length", 1e-6),
    "inch": Unit("length", _INCH),
    "foot": Unit("length", _FOOT),
    "yard": Unit("length", 3.0 * _FOOT),
    "mile": Unit("length", _MILE),
    "newton": Unit("force"),
    "decanewton": Unit("force", 10.0),
    "kilonewton": Unit("force", 1000.0),
    "kilogram_force": Unit("force", _G),
    "pound_force": Unit("force", _POUND * _G),
    "newton*meter": Unit("torque"),
    "kilonewton*meter": Unit("torque", 1000.0),
    "foot*pound_force": Unit("torque", _FOOT * _POUND * _G),
    "inch*pound_force": Unit("torque", _INCH * _POUND * _G),
    "dimensionless": Unit("fraction"),
    "percent": Unit("fraction", 0.01),
    "permille": Unit("fraction", 0.001),
    "volt": Unit("voltage"),
    "millivolt": Unit("voltage", 0.001),
    "ampere": Unit("current"),
    "milliampere": Unit("current", 0.001),
    "second": Unit("time"),
    "millisecond": Unit("time", 1e-3),
    "microsecond": Unit("time", 1e-6),
    "nanosecond": Unit("time", 1e-9),
    "minute": Unit("time", 60.0),
    "hour": Unit("time", 3600.0),
    "kilogram": Unit("mass"),
    "pound": Unit("mass", _POUND),
    "watt": Unit("power"),
    "kilowatt": Unit("power", 1000.0),
    "watt_hour": Unit("energy", 3600.0),
    "kilowatt_hour": Unit("energy", 3.6e6),
    "ohm": Unit("resistance"),
    "liter": Unit("volume", 0.001),
    "meter**3": Unit("volume"),
    "meter**2": Unit("area"),
    "centimeter**2": Unit("area", 1e-4),
    "millimeter**2": Unit("area", 1e-6),
    "foot**2": Unit("area", _FOOT**2),
    "inch**2": Unit("area", _INCH**2),
    "kilogram/meter**3": Unit("density"),
    "gram/centimeter**3": Unit("density", 1000.0),
    "pound/foot**3": Unit("density", _POUND / _FOOT**3),
}

# known to be no physical unit: raw readings and positions of a selector
_COUNTS = "count counts cts cnt bit bits adc raw lsb digit digits"
PLAIN = {word: Unit("count") for word in _COUNTS.split()}
PLAIN["gear"] = Unit("gear")

SPELLINGS: dict[str, str] = {
    "meter/second": "m/s mps m/sec ms-1 m.s-1 m*s-1 meter/s",
    "kilometer/hour": "km/h kmh kph kmph km/hr km/hour kmh-1 km*h-1 km.h-1",
    "mile/hour": "mph mi/h miles/h miles/hour mile/h",
    "foot/second": "ft/s fps ft/sec",
    "knot": "kn kt kts knot knots",
    "centimeter/second": "cm/s",
    "millimeter/second": "mm/s",
    "meter/second**2": "m/s2 m/s/s m/sec2 mps2 ms-2 m*s-2 m.s-2",
    "standard_gravity": "g G gn g0 gee g's",
    "millistandard_gravity": "mg mG",
    "foot/second**2": "ft/s2",
    "radian": "rad",
    "degree": "deg degs degree degrees",
    "milliradian": "mrad",
    "arcminute": "arcmin amin",
    "1e-7*degree": "1e-7deg deg1e-7 deg*1e-7 dege-7 dege7 deg*1e7 1e7deg",
    "radian/second": "rad/s rad/sec rads rad.s-1 rad*s-1",
    "degree/second": "deg/s dps deg/sec degs/s deg.s-1 deg*s-1",
    "revolution/minute": "rpm r/min rev/min 1/min u/min min-1 tr/min rot/min rpm. /min giri/min ot/min",
    "revolution/second": "rev/s rps r/s",
    "hertz": "Hz 1/s",
    "kilohertz": "kHz",
    "pascal": "Pa",
    "hectopascal": "hPa",
    "kilopascal": "kPa",
    "megapascal": "MPa",
    "bar": "bar bars bara barg",
    "millibar": "mbar mbara mb",
    "pound_force_per_square_inch": "psi psia psig lbf/in2 lb/in2",
    "standard_atmosphere": "atm",
    "kelvin": "K",
    "degree_Celsius": "C degC deg_C celsius degCelsius",
    "degree_Fahrenheit": "F degF deg_F fahrenheit degFahrenheit",
    "meter": "m meter meters metre metres mtr",
    "kilometer": "km",
    "centimeter": "cm",
    "millimeter": "mm",
    "micrometer": "um micron microns",
    "inch": 'in inch inches "',
    "foot": "ft foot feet",
    "yard": "yd",
    "mile": "mi mile miles",
    "newton": "N",
    "decanewton": "daN",
    "kilonewton": "kN",
    "kilogram_force": "kgf kp",
    "pound_force": "lbf",
    "newton*meter": "Nm N*m N.m N-m",
    "kilonewton*meter": "kNm kN*m",
    "foot*pound_force": "ftlb ft*lb ft-lb lb-ft lbft lb*ft ftlbf ft*lbf ft-lbf lbf-ft lbf*ft lbfft ft.lb",
    "inch*pound_force": "inlb in*lb in-lb lb-in lbin lb*in inlbf in*lbf in-lbf lbf-in lbf*in",
    "dimensionless": "- -- 1 none n/a unitless ratio dimensionless fraction",
    "percent": "% pct percent perc prozent",
    "permille": "‰",
    "volt": "V volt volts",
    "millivolt": "mV",
    "ampere": "A amp amps",
    "milliampere": "mA",
    "second": "s sec secs second seconds sek",
    "millisecond": "ms msec msecs millisecond milliseconds millis",
    "microsecond": "us usec usecs microsecond microseconds micros",
    "nanosecond": "ns nsec nanosecond nanoseconds",
    "minute": "min mins minute minutes",
    "hour": "h hr hrs hour hours",
    "kilogram": "kg",
    "pound": "lb lbs",
    "watt": "W",
    "kilowatt": "kW",
    "watt_hour": "Wh",
    "kilowatt_hour": "kWh",
    "ohm": "ohm ohms Ω",
    "liter": "liter litre",
    "meter**3": "m3",
    "meter**2": "m2 sqm m*m m.m",
    "centimeter**2": "cm2",
    "millimeter**2": "mm2",
    "foot**2": "ft2 sqft",
    "inch**2": "in2 sqin",
    "kilogram/meter**3": "kg/m3 kg*m-3 kg.m-3 kgm-3",
    "gram/centimeter**3": "g/cm3",
    "pound/foot**3": "lb/ft3",
}

EXACT: dict[str, str] = {word: name for name, words in SPELLINGS.items() for word in words.split()}
# spellings whose meaning hangs on the case are never taken in another case
_CASE_BOUND = frozenset({"mpa", "mw", "k", "n"})
ANY_CASE: dict[str, str] = {}
for _word, _name in EXACT.items():
    _low = _word.casefold()
    if _low not in _CASE_BOUND and (_low not in EXACT or EXACT[_low] == _name):
        ANY_CASE[_low] = _name

"""The physics: air, road load, suspension and axle loads. Pure functions of arrays in SI units."""

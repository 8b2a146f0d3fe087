"""Degrees and minutes to degrees, in every writing."""

import numpy as np
import pytest

from server.readers.positions import angle_degrees, is_degree_minutes, is_latitude, is_longitude
from tests.readers.logs import channel, codes, lines, read

# The GLL example sentence of NMEA 0183, "$GPGLL,4916.45,N,12311.12,W,…" = 49° 16.45′ north, 123° 11.12′ west
# (from memory; the sentence is quoted wherever the standard is explained).
NORTH, WEST = 49 + 16.45 / 60, -(123 + 11.12 / 60)


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("time,lat,lon", "4916.45N,12311.12W"),
        ("time,lat,lon", "N4916.45,W12311.12"),
        ("time,Latitude,N/S,Longitude,E/W", "4916.45,N,12311.12,W"),
        ("time,GPS_Lat,GPS_Long", "4916.45,-12311.12"),
        ("time,lat,lon", "49°16.45',-123°11.12'"),
        ("time,lat,lon", "49° 16.45′ N,123° 11.12′ W"),
        ("time,lat,lon", "49°16'27\"N,123°11'7.2\"W"),
        ("time,lat,lon", '"49°16\'27""N","123°11\'7.2""W"'),
    ],
)
def test_a_published_position(header, row):
    raw = read(f"{header}\n" + lines(lambda i: f"{i / 10},{row}"))
    latitude, longitude = raw.channels
    np.testing.assert_allclose(latitude.values, NORTH, rtol=1e-12)
    np.testing.assert_allclose(longitude.values, WEST, rtol=1e-12)
    assert (latitude.unit, longitude.unit) == ("deg", "deg")
    assert "degree-minutes" in codes(raw)


def test_plain_degrees_stay():
    raw = read("time,LAT,LON\n" + lines(lambda i: f"{i / 10},33.98{i:02d},-6.72{i:02d}"))
    assert channel(raw, "LAT").values[0] == 33.98
    assert channel(raw, "LON").values[0] == -6.72
    assert not raw.findings


def test_sides_alone_give_the_sign():
    raw = read("time,lat,side,lon,side2\n" + lines(lambda i: f"{i / 10},33.5,S,6.5,E"))
    assert [c.values[0] for c in raw.channels] == [-33.5, 6.5]


def test_a_few_wrong_readings_make_no_minutes():
    values = np.full(100, -6.7)
    values[:3] = 1556.0
    assert not is_degree_minutes(values, 180.0)
    assert is_degree_minutes(np.full(10, -12311.12), 180.0)
    assert not is_degree_minutes(np.full(10, 4975.0), 90.0)


@pytest.mark.parametrize("text", ["", "north", "49°61'", "1°2'3\"4", "N"])
def test_what_is_no_angle(text):
    assert np.isnan(angle_degrees(text))


@pytest.mark.parametrize("name", ["lat", "LAT", "Latitude", "GPS_Lat", "gps lat", "GpsLatitude", "Lat [deg]"])
def test_names_of_a_latitude(name):
    assert is_latitude(name)


@pytest.mark.parametrize("name", ["LatAcc", "Lateral", "G_Lat", "plate", "Accel Lat", "latency"])
def test_names_of_no_latitude(name):
    assert not is_latitude(name)


@pytest.mark.parametrize(
    ("name", "expected"), [("GPS_Long", True), ("lng", True), ("AccLong", False), ("G Long", False)]
)
def test_names_of_a_longitude(name, expected):
    assert is_longitude(name) is expected

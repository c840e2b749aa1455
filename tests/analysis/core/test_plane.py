"""Places in metres against geodesics on the ellipsoid: a table, and Karney's own library."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from analysis.core.samples import plane_m

BEARINGS = np.arange(0.0, 360.0, 15.0)


def seen_from(latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg) -> np.ndarray:
    """East and north of one place seen from another, shape (2,)."""
    to = np.radians(np.atleast_1d(to_latitude_deg)), np.radians(np.atleast_1d(to_longitude_deg))
    return np.array(plane_m(*to, (np.radians(latitude_deg), np.radians(longitude_deg))))[:, 0]


def test_distance_and_bearing_are_those_of_the_geodesic(reference_table):
    for row in reference_table("geodesics_wgs84"):
        east, north = seen_from(*list(row)[:4])
        # 0.2 mm: the plane shortens 3 km by d^3 / 6 R^2 = 0.11 mm, and the table is printed to 1 um
        assert np.hypot(east, north) == pytest.approx(row["distance_m"], abs=2e-4)
        # 1e-5 deg are 0.5 mm across 3 km; the table is printed to 5e-7 deg, places of 14 m to 1e-9 of the Earth
        assert np.degrees(np.arctan2(east, north)) % 360 == pytest.approx(row["azimuth_deg"], abs=1e-5)


def test_a_degree_has_its_length_on_the_ellipsoid(reference_table):
    for latitude, north_m, east_m in reference_table("wgs84_degree"):
        small = 1e-4  # degrees, either way, so that the change of curvature along the degree cancels
        east = seen_from(latitude, 0.0, latitude, small)[0] - seen_from(latitude, 0.0, latitude, -small)[0]
        north = seen_from(latitude, 0.0, latitude + small, 0.0)[1] - seen_from(latitude, 0.0, latitude - small, 0.0)[1]
        # 1e-8: places of 11 m keep nine digits of the Earth's radius; a sphere is off by 3e-3
        assert (north / (2 * small), east / (2 * small)) == pytest.approx((north_m, east_m), rel=1e-8)


@pytest.mark.parametrize("distance_m", [50.0, 1500.0, 3000.0, 6000.0])
@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg"),
    [(0.0, 5.0), (30.0, -80.0), (45.0, 0.0), (52.0, 5.0), (69.0, 19.0), (-33.9, 151.2), (-17.0, 179.995)],
)
def test_a_place_in_any_direction_is_where_karneys_library_puts_it(latitude_deg, longitude_deg, distance_m):
    """geographiclib, the direct problem; the last origin looks over the seam at 180 degrees."""
    # d^3 / 6 R^2 of shortening (0.9 mm at 6 km), and 10 nm for the digits of the Earth's radius
    allowed = 1.03 * distance_m**3 / (6 * 6356752.0**2) + 1e-8
    for bearing in BEARINGS:
        far = Geodesic.WGS84.Direct(latitude_deg, longitude_deg, bearing, distance_m)
        east, north = seen_from(latitude_deg, longitude_deg, far["lat2"], far["lon2"])
        wanted = distance_m * np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
        assert np.hypot(east - wanted[0], north - wanted[1]) < allowed


def test_a_sphere_would_not_pass():
    """52 degrees north, 3 km along the meridian: a sphere of 6,371,008.8 m is 0.065 % short, the check 1e-7."""
    assert np.radians(0.027) * 6371008.8 / 3004.225464 - 1 == pytest.approx(-6.5e-4, abs=1e-5)
    assert seen_from(52, 5, 52.027, 5)[1] / 3004.225464 == pytest.approx(1.0, abs=1e-7)

"""The fixed strata, as the contract writes them."""

import pytest

from analysis.results.strata import STRATA, Stratum, bike_band, height_band, yaw_band


@pytest.mark.parametrize(
    ("height_cm", "band"),
    [(None, ""), (169.9, "under-170"), (170.0, "170-185"), (184.9, "170-185"), (185.0, "over-185")],
)
def test_height_bands_are_half_open(height_cm, band):
    assert height_band(height_cm) == band


@pytest.mark.parametrize(
    ("yaw", "band"), [(None, ""), (0.0, "0-5"), (4.99, "0-5"), (5.0, "5-10"), (10.0, "over-10"), (31.0, "over-10")]
)
def test_yaw_bands_are_half_open(yaw, band):
    assert yaw_band(yaw) == band


@pytest.mark.parametrize(
    ("kind", "band"), [("Time trial", "time trial"), ("track", "track"), ("", "other"), ("tandem", "other")]
)
def test_kinds_that_nobody_fixed_are_other(kind, band):
    assert bike_band(kind) == band


def test_strata_are_audited_from_all_to_the_finest():
    assert STRATA[0] == Stratum()
    assert [stratum.ways for stratum in STRATA] == sorted(stratum.ways for stratum in STRATA)
    assert len(set(STRATA)) == len(STRATA) == (4 + 1) * (3 + 1) * (3 + 1)

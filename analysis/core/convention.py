"""Which drag area is meant: wind-axis as recorded here, body-axis, or along-track, and the way between them."""

from __future__ import annotations

from typing import Literal

import numpy as np

from analysis.core.types import Array

Convention = Literal["wind_axis", "body_axis", "along_track"]
STATED = "wind-axis, side force neglected: F_x = 1/2 rho CdA V a"


def convert(
    area_m2: float | Array,
    yaw_rad: float | Array,
    to: Convention,
    side_area_m2: float | Array = 0.0,
    given: Convention = "wind_axis",
) -> Array:
    """A drag area at a yaw angle from one convention to another.

    With q = rho V^2 / 2, V the speed of the air and a = V cos(yaw) its part along the travel, the force along
    the travel is F_x = q CxA (body-axis), q (CdA cos(yaw) - CsA sin(yaw)) (wind-axis), 1/2 rho CdA_t a |a|
    (along-track). All agree at zero yaw.

    Parameters
    ----------
    area_m2 : float or array
        Drag area in the convention `given` [m2].
    yaw_rad : float or array
        Angle of the air flow, within a right angle [rad].
    to : str
        `wind_axis`, `body_axis` or `along_track` [1].
    side_area_m2 : float or array
        Wind-axis side-force area CsA, positive where it reduces the axial drag [m2].
    given : str
        Convention of `area_m2` [1].

    Returns
    -------
    float or array
        Drag area in the convention `to` [m2].

    References
    ----------
    Martin et al. (1998), J. Appl. Biomech. 14:276-291, for the along-track form; the rest is geometry.
    """
    yaw, area = np.asarray(yaw_rad, dtype=np.float64), np.asarray(area_m2, dtype=np.float64)
    cosine, side = np.cos(yaw), np.asarray(side_area_m2, dtype=np.float64) * np.sin(yaw)
    axial = {"wind_axis": area * cosine - side, "body_axis": area, "along_track": area * cosine**2}[given]
    return np.asarray({"wind_axis": (axial + side) / cosine, "body_axis": axial, "along_track": axial / cosine**2}[to])

"""The answer that pencil and paper give: mean power against mean speed, turns left out."""

from __future__ import annotations

import numpy as np

from analysis.core.types import Array, Run, Session

TURN_M = 60.0
R_DRY_J_KG_K = 287.05
GRAVITY_MPS2 = 9.81


def by_hand_m2(session: Session, changed: str) -> float:
    """Difference of the drag areas of two setups, each run by its means.

    Parameters
    ----------
    session : Session
    changed : str
        Label of the setup that is compared with the reference.

    Returns
    -------
    float
        Changed minus reference [m2].
    """
    areas: dict[str, list[float]] = {changed: [], session.reference: []}
    for run in session.runs:
        if run.setup in areas:
            areas[run.setup].append(_run_m2(session, run))
    return float(np.nanmean(areas[changed]) - np.nanmean(areas[session.reference]))


def _run_m2(session: Session, run: Run) -> float:
    c = run.channels
    if c is None or c.power_w is None or c.speed_mps is None or c.distance_m is None or c.temperature_k is None:
        return float("nan")
    keep = np.ones(c.time_s.size, dtype=bool)
    if session.course.kind == "out_and_back" and session.course.length_m is not None:
        keep = np.abs(c.distance_m - session.course.length_m) > TURN_M
    power, speed = _mean(c.power_w, keep), _mean(c.speed_mps, keep)
    pressure = 101_325.0 if c.pressure_pa is None else _mean(c.pressure_pa, keep)
    density = pressure / (R_DRY_J_KG_K * _mean(c.temperature_k, keep))
    rolling = session.crr * (session.system_mass_kg or 80.0) * GRAVITY_MPS2 * speed
    return (session.drivetrain_efficiency * power - rolling) / (0.5 * density * speed**3)


def _mean(series: Array, keep: Array) -> float:
    return float(np.nanmean(series[keep]))

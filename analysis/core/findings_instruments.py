"""What the instruments show: drift, wrong gain, late streams, dropouts, gaps, wheel against satellites."""

from __future__ import annotations

import numpy as np

from analysis.core.air import EQUATION_PRESSURE_PA, EQUATION_TEMPERATURE_K
from analysis.core.alignment import SCALE_PRIOR
from analysis.core.assemble import Chain
from analysis.core.constants import ZERO_CELSIUS_K
from analysis.core.findings import Findings
from analysis.core.joint import Joint
from analysis.core.types import Mask

GAIN_CAUTION, GAIN_INVALID = (0.8, 1.25), (0.5, 2.0)  # DESIGN section 8
WHEEL_LIMIT = 0.0073  # more than twice the usual error of a circumference, the satellites' usual error on top
WHEEL_READ_U = 0.001  # which is this; where they tell less, as on short laps, the limit is wider
LATE_S, LATE_Z = (1.6, 1.5), 4.0  # a sensor's lag counts as delay of the air
GAP_S, DROPOUT_S = 5.0, 3.0
SILENT_Z = -6.0
DEPARTURE_Z = 2.5


def of_instruments(found: Findings, chain: Chain, joint: Joint) -> None:
    """Add the warnings that the instruments of a session deserve.

    Parameters
    ----------
    found : Findings
        Where they are collected [1].
    chain : Chain
        The session's links [1].
    joint : Joint
        The solved run-level model [1].
    """
    _gain(found, joint)
    _drift(found, chain, joint)
    _departures(found, chain, joint)
    _clocks(found, chain)
    _wheel(found, chain)
    _lost_samples(found, chain)
    _weather(found, chain)
    if chain.closure is not None and not all(r.has_yaw for r in chain.runs):
        found.add(
            "yaw_missing", "note", "session",
            "There is no yaw angle: the whole air speed was taken as the one along the travel.",
            "Record yaw where the sensor has it; in a cross wind the drag area reads a little high without it.",
        )  # fmt: skip


def numbers_where(numbers: list[int]) -> str:
    """Place of a warning that concerns several runs.

    Parameters
    ----------
    numbers : list of int
        Numbers of the runs, without gaps that matter [1].

    Returns
    -------
    str
        `run 5` or `runs 5-8`.
    """
    return f"run {numbers[0]}" if len(numbers) == 1 else f"runs {numbers[0]}-{numbers[-1]}"


def _gain(found: Findings, joint: Joint) -> None:
    if not joint.model.has_gain:
        return
    gain = float(np.exp(joint.gain0 + joint.theta[joint.slices["gain"]][0]))
    for level, (low, high) in (("invalid", GAIN_INVALID), ("caution", GAIN_CAUTION)):
        if not low <= gain <= high:
            found.add(
                "airspeed_gain", "invalid" if level == "invalid" else "caution", "session",
                f"The air sensor reads {gain:.2f} times the true air speed; {low:.2f} to {high:.2f} is usual.",
                "Check the sensor's unit and its place in free air, then ride an out and back to see its gain again.",
            )  # fmt: skip
            return


def _drift(found: Findings, chain: Chain, joint: Joint) -> None:
    drift = joint.drift
    if drift.began is None or drift.by == "none":
        return
    numbers = [r.number for r in chain.runs][drift.began :]
    shape = drift.shape * float(joint.theta[joint.slices["drift"]][0])
    by = (
        "its mount's tilt moved"
        if drift.by == "tilt"
        else "the closure of the runs and their drag areas moved together"
    )
    found.add(
        "airspeed_drift", "caution", numbers_where(numbers),
        f"The air sensor's gain changed by {100 * float(shape[-1]):+.1f} % from run {numbers[0]} on: {by}. The "
        "change was taken out and the interval is wider.",
        f"Stop and fix the mount before the next run; mark its place, and ride run {numbers[0]} again if the "
        "interval is too wide.",
    )  # fmt: skip


def _departures(found: Findings, chain: Chain, joint: Joint) -> None:
    """A setup that moved the air at the sensor: its gain by closure stands apart from the reference's."""
    e = chain.evidence
    if e.log_gain is None or e.gain_covariance is None:
        return
    rest = e.log_gain - joint.model.gain_rows()[:, joint.slices["drift"]] @ joint.theta[joint.slices["drift"]]
    tilt = None if chain.tilt is None else chain.tilt
    for s in range(1, len(chain.labels)):
        w = np.where(e.setup == s, 1.0 / np.sum(e.setup == s), 0.0) - np.where(
            e.setup == 0, 1.0 / np.sum(e.setup == 0), 0.0
        )
        apart, u = float(w @ rest), float(np.sqrt(w @ e.gain_covariance @ w))
        leaned = _leaned(tilt, w)
        if not (abs(apart) > DEPARTURE_Z * np.hypot(u, 0.003) or (e.near_sensor[s] and leaned)):
            continue
        lean = f", and its mount leaned {np.degrees(leaned):+.2f} degrees" if leaned else ""
        found.add(
            "airspeed_setup", "note", f"setup {chain.labels[s]}",
            f"With setup {chain.labels[s]} the air sensor read {100 * apart:+.1f} % (+-{100 * u:.1f} %) against "
            f"the reference{lean}: the setup moved the air at the sensor.",
            "Put the sensor farther out in front, or ride such a change in calm air, where the closure of every "
            "run is sharper.",
        )  # fmt: skip


def _leaned(tilt: tuple[np.ndarray, np.ndarray] | None, w: np.ndarray) -> float:
    if tilt is None or not np.isfinite(tilt[0]).all():
        return 0.0
    apart, u = float(w @ tilt[0]), float(np.sqrt(np.sum((w * np.hypot(tilt[1], np.radians(0.02))) ** 2)))
    return apart if abs(apart) > max(4.0 * u, np.radians(0.1)) else 0.0


def _clocks(found: Findings, chain: Chain) -> None:
    streams = zip(("air speed", "power"), LATE_S, chain.balance.late_s, chain.balance.late_u_s, strict=True)
    for name, limit, late, u in streams:
        if abs(late) > limit and abs(late) > LATE_Z * u:
            found.add(
                "clock_offset", "caution", "session",
                f"The {name} stream comes {abs(late):.1f} s {'after' if late > 0 else 'before'} the speed; it was "
                "moved back into step.",
                "Let one head unit record all sensors, or set the clocks before the next session.",
            )  # fmt: skip


def _wheel(found: Findings, chain: Chain) -> None:
    pulled = min((chain.layout.wheel_scale_u / SCALE_PRIOR) ** 2, 0.5)  # share of the prior in the scale
    off = (chain.layout.wheel_scale - 1.0) / (1.0 - pulled)
    if abs(off) > WHEEL_LIMIT + 2.0 * max(0.0, chain.layout.wheel_scale_u - WHEEL_READ_U):
        found.add(
            "speed_mismatch", "caution", "session",
            f"By the satellites the wheel's circumference is {100 * off:+.1f} % off the stated one; speed and "
            "distance were corrected by it.",
            "Measure the circumference by a roll-out with the rider on and enter wheel_circumference_m.",
        )  # fmt: skip


def silent_rows(chain: Chain) -> Mask:
    """Stretches without power in which the bicycle was pushed all the same: their energy is missing.

    Parameters
    ----------
    chain : Chain
        The session's links [1].

    Returns
    -------
    ndarray of bool
        One for each stretch [1].
    """
    return (chain.rows.soft_s > 0.0) & ~chain.rows.sound & (np.nan_to_num(chain.balance.score) < SILENT_Z)


def _lost_samples(found: Findings, chain: Chain) -> None:
    for i, r in enumerate(chain.runs):
        if r.gap_s > GAP_S:
            found.add(
                "gaps", "caution",
                f"run {r.number}", f"Run {r.number} has {r.gap_s:.0f} s without samples; the stretches there were "
                "left out.",
                "Switch smart recording off and record every second.",
            )  # fmt: skip
        silent = r.dropout_s + float(chain.rows.soft_s[silent_rows(chain) & (chain.rows.run == i)].sum())
        if silent > DROPOUT_S:
            found.add(
                "power_dropout", "caution", f"run {r.number}",
                f"In run {r.number} the power meter was silent, or leapt, for {silent:.0f} s while the rider pushed; "
                "longer spells were left out, single samples filled from both sides.",
                "Renew the power meter's battery and look at its pairing before the next run.",
            )  # fmt: skip
        if r.blocked_s > 0.0:
            found.add(
                "airspeed_blocked", "caution", f"run {r.number}",
                f"In run {r.number} the air sensor was stuck, silent or at the end of its range for "
                f"{r.blocked_s:.0f} s; the stretches there were left out.",
                "Clear the sensor's opening (water, insects, tape) before the next run, and see that its range is wide "
                "enough for a headwind.",
            )  # fmt: skip


def _weather(found: Findings, chain: Chain) -> None:
    if not all(r.has_weather for r in chain.runs):
        found.add(
            "weather_missing", "note", "session",
            "Temperature or pressure is missing: the standard atmosphere was used where they are.",
            "Note temperature and station pressure once an hour; drag areas are uncertain by some 3.5 % without "
            "them, differences hardly.",
        )  # fmt: skip
        return
    (cold, warm), (low, high) = EQUATION_TEMPERATURE_K, EQUATION_PRESSURE_PA
    t, p = [r.temperature_k for r in chain.runs], [r.pressure_pa for r in chain.runs]
    if min(t) < cold or max(t) > warm or min(p) < low or max(p) > high:
        found.add(
            "air_outside_equation", "note", "session",
            f"The air ({min(t) - ZERO_CELSIUS_K:.0f} to {max(t) - ZERO_CELSIUS_K:.0f} C, {min(p) / 100:.0f} to "
            f"{max(p) / 100:.0f} hPa) "
            "lies outside 15 to 27 C and 600 to 1100 hPa, for which the density equation was made.",
            "Nothing for a comparison: the error of the density is under 0.01 % and common to all runs.",
        )  # fmt: skip
    density = [float(np.mean(r.density_kg_m3)) for r in chain.runs]
    if max(density) - min(density) > 0.02 * min(density):
        found.add(
            "air_changed", "note", "session",
            f"The air's density moved by {100 * (max(density) / min(density) - 1):.1f} % between runs; each run "
            "was computed with its own.",
            "Nothing; keep the thermometer in the shade and note the weather each hour.",
        )  # fmt: skip

"""The uncertainty budget of a session: what each source does to the drag area and to the difference.

The session's own sources come out of the joint model, piece by piece; what no session can see (power gain,
mass, density) is propagated by its share of the energy (JCGM 100). Nothing is estimated here.
"""

from __future__ import annotations

import numpy as np

from analysis.core.assemble import Chain
from analysis.core.joint import SLOW_POWER_S, SLOW_POWER_SD, Joint, rolling_share_m2
from analysis.core.propagate import propagate
from analysis.core.types import Array, BudgetLine, Session

SHARED_NOISE = "noise in what all runs share"
COMMON = (
    SHARED_NOISE,
    "rolling resistance",
    "power meter gain",
    "marks' heights",
    "air at the rider in gusts",
    "clocks",
    "places of out against back",
    "air-speed gain by closure",
)
DRIFT = "air-speed gain drift"
PRIORS = {  # unknowns with a prior, and the line of the budget that it fills
    "rider": "rider's drift",
    "departure": "air-speed gain by setup",
    "drift": DRIFT,
}
POWER_GAIN_U = 0.012  # common to the session (DESIGN section 7)
EFFICIENCY_U = 0.005  # absolute, of an assumed drivetrain efficiency
MASS_U_KG = 0.5
DENSITY_U = 0.003  # temperature within 0.6 K, pressure within 1 hPa
DENSITY_UNKNOWN_U = 0.035  # no weather at all: standard air, 10 K and 15 hPa


def pieces(joint: Joint, weights: Array) -> dict[str, float]:
    """Variance of a weighted sum of the unknowns by source; the sum is its whole variance.

    Parameters
    ----------
    joint : Joint
        The solved model [1].
    weights : ndarray
        Over the unknowns [1].

    Returns
    -------
    dict
        Variance by source [m4].
    """
    if not joint.over:
        return _pieces(joint, weights)
    out: dict[str, float] = {}
    for share, turn, one in joint.over:
        for name, variance in _pieces(one, weights @ turn).items():
            out[name] = out.get(name, 0.0) + share * variance
    apart = [weights @ (turn @ one.theta - joint.theta) for _, turn, one in joint.over]
    name = DRIFT if DRIFT in out else PRIORS["departure"]
    out[name] += float(np.average(np.square(apart), weights=[share for share, _, _ in joint.over]))
    return out


def _pieces(joint: Joint, weights: Array) -> dict[str, float]:
    m = joint.model
    scatter2 = joint.scatter_m2**2
    v = m.noise(scatter2, joint.rate)
    by_observation = weights @ joint.covariance @ m.design.T @ np.linalg.inv(v)
    r, g = m.runs, m.tyres
    grow = np.concatenate([np.full(r, np.exp(2.0 * m.gain0)), np.ones(g)])
    whole = m.e.balance_covariance * np.outer(grow, grow)
    slow = m.noise(0.0)[:r, :r] - whole[:r, :r]
    blur = np.diag(v - m.noise(scatter2))[:r]
    drag, balance_part = by_observation[:r], by_observation[: r + g]
    pulls = {name: float(np.sum((balance_part @ (grow[:, None] * pull)) ** 2)) for name, pull in m.e.reach.items()}
    single = float(np.sum(drag**2 * m.e.own_variance) * np.exp(4.0 * m.gain0))
    out = {
        "power and air-speed noise": single,
        SHARED_NOISE: max(float(balance_part @ whole @ balance_part) - single - sum(pulls.values()), 0.0),
        "power drift within the session": float(drag @ slow @ drag),
        "rider from run to run": float(scatter2 * drag @ drag),
    } | pulls
    if m.has_gain:
        rest = by_observation[r + g :]
        out["air-speed gain by closure"] = float(rest @ v[r + g :, r + g :] @ rest)
    own = weights @ joint.covariance
    for key, name in PRIORS.items():
        if key in joint.slices and joint.slices[key].stop > joint.slices[key].start:
            part = joint.slices[key]
            out[name] = float(np.sum((own[part] / m.prior_sd[part]) ** 2))
    if DRIFT in out:
        out[DRIFT] += float(drag**2 @ blur)  # the path of the gain is itself read from a tilt with noise
    return out


def common(session: Session, chain: Chain, joint: Joint) -> dict[str, tuple[float, float]]:
    """What no session can see of itself: relative uncertainty of each input, and what it does to a drag area.

    Parameters
    ----------
    session : Session
        What was given [1].
    chain : Chain
        The session's links [1].
    joint : Joint
        The solved run-level model [1].

    Returns
    -------
    dict
        Source to (relative uncertainty, effect on the drag area) [1, m2].
    """
    inputs = _unseen(session, chain, joint)
    u, sensitivity = np.array(list(inputs.values())).T
    effects = propagate(sensitivity, u).contributions[0]
    return {name: (float(u[i]), float(effects[i])) for i, name in enumerate(inputs)}


def common_u_m2(session: Session, chain: Chain, joint: Joint) -> float:
    """What no session can see of itself, all sources together.

    Parameters
    ----------
    session : Session
        What was given [1].
    chain : Chain
        The session's links [1].
    joint : Joint
        The solved run-level model [1].

    Returns
    -------
    float
        Standard uncertainty of a drag area [m2].

    References
    ----------
    JCGM 100:2008, eq. 10: the sources have nothing to do with each other.
    """
    u, sensitivity = np.array(list(_unseen(session, chain, joint).values())).T
    return float(propagate(sensitivity, u).uncertainty[0])


def _unseen(session: Session, chain: Chain, joint: Joint) -> dict[str, tuple[float, float]]:
    """Relative uncertainty of each input, and how far a drag area moves for a relative change of one."""
    level = float(np.mean(joint.theta[joint.slices["setup"]]))
    mass = float(np.mean([r.mass_kg for r in chain.runs]))
    rolling = rolling_share_m2(joint) * float(joint.theta[joint.slices["crr"]][0])
    weather = DENSITY_U if all(r.has_weather for r in chain.runs) else DENSITY_UNKNOWN_U
    wheel = chain.layout.wheel_scale_u
    blind = {} if chain.wind is None else {"wind from the side, unseen": (chain.wind.crosswind_u, level)}
    return blind | {
        "system mass": (MASS_U_KG / mass, rolling),
        "air density": (weather, level),
        "wheel circumference": (wheel, 3.0 * level),
    }


def budget(session: Session, chain: Chain, joint: Joint, of_difference: Array | None) -> tuple[BudgetLine, ...]:
    """All sources with their effect on the reference's drag area and on the first difference.

    Parameters
    ----------
    session : Session
        What was given [1].
    chain : Chain
        The session's links [1].
    joint : Joint
        The solved model [1].
    of_difference : ndarray | None
        Weights of the first comparison over the unknowns, None without one [1].

    Returns
    -------
    tuple of BudgetLine
        Largest effect on the drag area first [m2].
    """
    first = np.zeros(len(chain.labels))
    first[0] = 1.0
    level = float(joint.theta[joint.slices["setup"]][0])
    delta = abs(float(of_difference @ joint.theta)) if of_difference is not None else 0.0
    lines = []
    for name, (relative, effect) in common(session, chain, joint).items():
        on_delta = effect * delta / max(level, 1e-6) if of_difference is not None else None
        lines.append(BudgetLine(name, relative, effect, on_delta))
    on_cda = pieces(joint, joint.weights(setup=first))
    on_delta_of = pieces(joint, of_difference) if of_difference is not None else {}
    on_cda, on_delta_of = _split_power(session, on_cda), _split_power(session, on_delta_of)
    for name, variance in on_cda.items():
        effect = float(np.sqrt(max(variance, 0.0)))
        other = on_delta_of.get(name)
        lines.append(
            BudgetLine(
                name, effect / max(level, 1e-6), effect, None if other is None else float(np.sqrt(max(other, 0.0)))
            )
        )
    return tuple(sorted(lines, key=lambda line: -(line.on_cda_m2 or 0.0)))


def _split_power(session: Session, variances: dict[str, float]) -> dict[str, float]:
    """Power meter and drivetrain act alike and are one unknown of the balance; each gets its share of the variance."""
    if "power meter gain" not in variances:
        return variances
    meter, chain = POWER_GAIN_U**2, (EFFICIENCY_U / session.drivetrain_efficiency) ** 2
    whole = variances["power meter gain"]
    return variances | {
        "power meter gain": whole * meter / (meter + chain), "drivetrain efficiency": whole * chain / (meter + chain)
    }  # fmt: skip


def priors() -> dict[str, float]:
    """The stated sizes of what no session can see, for the result's assumptions.

    Returns
    -------
    dict
        Standard deviations [1].
    """
    return {
        "power_gain": POWER_GAIN_U, "drivetrain_efficiency": EFFICIENCY_U, "system_mass_kg": MASS_U_KG,
        "air_density": DENSITY_U, "power_gain_over_600_s": SLOW_POWER_SD, "slow_power_time_s": SLOW_POWER_S,
    }  # fmt: skip

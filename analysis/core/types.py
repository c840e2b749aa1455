"""The terms that readers, the estimator and the jobs share: one session in, one result out.

Everything is SI and radians. The translation from the units of files and documents happens in
`analysis.readers`; the translation to the published document happens in `document.py`.
Arrays are float64; a gap is NaN, never an invented value.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from analysis.core.arrays import Array as Array
from analysis.core.arrays import IntArray as IntArray
from analysis.core.arrays import Mask as Mask

Level = Literal["note", "caution", "invalid"]
Verdict = Literal["faster", "slower", "equivalent", "undecided", "invalid"]
CourseKind = Literal["out_and_back", "lap", "track"]


@dataclass(frozen=True, slots=True)
class Warning:
    """One finding: what was found, where, and what to do now.

    `where` is one of `session`, `run 5`, `runs 5-8`, `setup B`.
    """

    code: str
    level: Level
    where: str
    what: str
    do: str


@dataclass(frozen=True, slots=True, eq=False)
class Channels:
    """Samples of one run on the run's own clock; every array has shape (n,), absent channels are None.

    `time_s` counts from the session's epoch (the first sample of the session), strictly increasing.
    """

    time_s: Array  # [s]
    latitude_rad: Array | None = None  # [rad]
    longitude_rad: Array | None = None  # [rad]
    altitude_m: Array | None = None  # [m]
    distance_m: Array | None = None  # [m] by the wheel, as recorded
    speed_mps: Array | None = None  # [m/s] by the wheel, as recorded
    power_w: Array | None = None  # [W]
    cadence_rad_s: Array | None = None  # [rad/s]
    airspeed_mps: Array | None = None  # [m/s] along the direction of travel; sensed = gain x true
    yaw_rad: Array | None = None  # [rad] positive when the air comes from the rider's left
    tilt_rad: Array | None = None  # [rad] pitch of the air sensor, mount and road together
    temperature_k: Array | None = None  # [K]
    pressure_pa: Array | None = None  # [Pa] station pressure
    humidity: Array | None = None  # [1] relative, 0 to 1


@dataclass(frozen=True, slots=True)
class WeatherReading:
    """Weather noted by the fitter; `None` where nothing was noted."""

    time_s: float  # [s] from the session's epoch
    temperature_k: float | None = None
    pressure_pa: float | None = None
    humidity: float | None = None


@dataclass(frozen=True, slots=True)
class Setup:
    """One frozen state of a test. `factors` holds the comparable facts by their published name.

    Keys of `factors`: `items.<slot>`, `position` (mapping of coordinates), `tyre_pressure_kpa`
    (mapping front/rear), `clothing`, `bottles`. A missing key differs from a present one.
    """

    label: str
    factors: Mapping[str, Any] = field(default_factory=dict)
    system_mass_kg: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One run: its setup and its samples, already cut to the run."""

    number: int
    setup: str
    channels: Channels | None  # None: the recording gave no usable sample
    system_mass_kg: float | None = None
    left_out: str | None = None  # the fitter's reason


@dataclass(frozen=True, slots=True)
class Course:
    """Where was ridden; `length_m` is one way for out_and_back, once round for lap and track."""

    kind: CourseKind
    length_m: float | None = None
    bearing_rad: float | None = None


@dataclass(frozen=True, slots=True)
class Bike:
    """What the equation of motion needs to know of the bicycle."""

    mass_kg: float | None = None
    wheel_circumference_m: float = 2.1
    wheel_inertia_kg_m2: float = 0.14  # both wheels together (Martin et al. 1998)


@dataclass(frozen=True, slots=True)
class Repeatability:
    """The studio's history: SD of one run within a session, and its degrees of freedom."""

    sd_m2: float
    df: float


@dataclass(frozen=True, slots=True)
class Questions:
    """At which speeds, and over which distances at which powers, a difference is told."""

    speeds_mps: tuple[float, ...] = (40 / 3.6,)
    distances_m: tuple[float, ...] = (40_000.0,)
    powers_w: tuple[float, ...] = (250.0,)


@dataclass(frozen=True, slots=True, eq=False)
class Session:
    """All that the estimator is given. `setups[0]` need not be the reference: `reference` names it."""

    runs: tuple[Run, ...]
    setups: tuple[Setup, ...]
    reference: str
    course: Course
    bike: Bike = Bike()
    rider_mass_kg: float | None = None
    system_mass_kg: float | None = None
    crr: float = 0.0042
    drivetrain_efficiency: float = 0.975
    smallest_difference_m2: float = 0.0020
    repeatability: Repeatability | None = None
    weather: tuple[WeatherReading, ...] = ()
    questions: Questions = Questions()
    notes: tuple[Warning, ...] = ()  # what the readers found (file_damaged, zone_assumed, unknown_key ...)


@dataclass(frozen=True, slots=True)
class RunResult:
    """What the session says of one run; figures are None where the run is left out or unusable."""

    number: int
    setup: str
    cda_m2: float | None
    u_m2: float | None
    mean_speed_mps: float | None
    air_density_kg_m3: float | None
    mean_abs_yaw_rad: float | None
    used_s: float | None
    left_out_s: float | None


@dataclass(frozen=True, slots=True)
class SetupResult:
    label: str
    cda_m2: float | None
    ci95_m2: tuple[float, float] | None
    ci95_within_m2: tuple[float, float] | None
    runs: int


@dataclass(frozen=True, slots=True)
class Change:
    """One factor that differs between the reference and the changed setup."""

    factor: str
    before: Any
    after: Any


@dataclass(frozen=True, slots=True)
class WattsAnswer:
    speed_mps: float
    delta_w: float | None
    ci95_w: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class TimeAnswer:
    distance_m: float
    power_w: float
    delta_s: float | None
    ci95_s: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Changed minus reference: negative is faster."""

    reference: str
    changed: str
    changes: tuple[Change, ...]
    delta_cda_m2: float | None
    ci95_m2: tuple[float, float] | None
    ci90_m2: tuple[float, float] | None
    simultaneous_ci95_m2: tuple[float, float] | None
    p_value: float | None
    df: float | None
    ridden_delta_m2: float | None
    ridden_ci95_m2: tuple[float, float] | None
    ridden_ci90_m2: tuple[float, float] | None
    ridden_simultaneous_ci95_m2: tuple[float, float] | None
    delta_crr: float | None
    ci95_crr: tuple[float, float] | None
    repeatability_sd_m2: float | None
    verdict: Verdict
    watts: tuple[WattsAnswer, ...]
    time: tuple[TimeAnswer, ...]
    more_runs_needed: int | None
    ridden_u_m2: float | None = None  # standard uncertainty of the ridden difference
    coverage_factor: float | None = None  # from it to the 95 % interval's half width: Student's t for `df`


@dataclass(frozen=True, slots=True)
class Instruments:
    airspeed_gain: float | None
    airspeed_gain_change_per_hour: float | None
    airspeed_gain_by_setup: Mapping[str, float | None] | None
    crr: float | None


@dataclass(frozen=True, slots=True)
class BudgetLine:
    source: str
    u_relative: float | None
    on_cda_m2: float | None
    on_delta_m2: float | None


@dataclass(frozen=True, slots=True)
class SessionResult:
    runs: tuple[RunResult, ...]
    setups: tuple[SetupResult, ...]
    comparisons: tuple[Comparison, ...]
    instruments: Instruments
    budget: tuple[BudgetLine, ...]
    warnings: tuple[Warning, ...]
    assumptions: Mapping[str, Any]  # priors and conventions, stated in the document as they stand


class SessionRefused(ValueError):
    """The session cannot be estimated at all; `sentences` say what was found and what to do.

    `key`, `given` and `allowed` say the same of the part of the session that is at fault.
    """

    def __init__(self, *sentences: str, key: str = "runs", given: str = "", allowed: str = "") -> None:
        super().__init__(" ".join(sentences))
        self.sentences = sentences
        self.key, self.given, self.allowed = key, given, allowed

"""The family of scenarios: what is deliberately different from the ordinary session. Chance belongs to `draw`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Scenario:
    """One kind of session; the defaults are an ordinary wheel test of eight runs."""

    name: str
    order: str = "ABBAABBA"
    factor: str = "items.wheels"
    equal: bool = False  # the setups are truly the same
    kind: Literal["out_and_back", "lap"] = "out_and_back"
    departure: float = 1.0  # of the gain by setup, in units of the prior
    airspeed: bool = True
    tilt: bool = True
    sag: bool = False
    traffic: bool = False
    gaps: bool = False
    two_speeds: bool = False
    tired: bool = False
    history: bool = False

    @property
    def near_sensor(self) -> bool:
        """Whether the change moves the air at the sensor."""
        return self.factor in ("position", "items.cockpit")

    @property
    def tyres(self) -> bool:
        """Whether the change moves the rolling resistance."""
        return self.factor == "items.tyres"


_ALL = (
    Scenario("wheels"),
    Scenario("position", factor="position"),
    Scenario("null-wheels", equal=True),
    Scenario("null-position", factor="position", equal=True),
    Scenario("lap", kind="lap"),
    Scenario("sag", sag=True),
    Scenario("sag-no-tilt", sag=True, tilt=False),
    Scenario("no-air", airspeed=False),
    Scenario("four-runs", order="ABBA"),
    Scenario("sixteen-runs", order="ABBAABBAABBAABBA"),
    Scenario("three-setups", order="ABCCBABCAACB"),
    Scenario("traffic", traffic=True),
    Scenario("gaps", gaps=True),
    Scenario("tyres", factor="items.tyres"),
    Scenario("tyres-two-speeds", factor="items.tyres", order="ABBAABBA", two_speeds=True),
    Scenario("tired-rider", tired=True),
    Scenario("history", history=True),
    Scenario("position-half-departure", factor="position", departure=0.5),
    Scenario("position-twice-departure", factor="position", departure=2.0),
    Scenario("wheels-twice-departure", departure=2.0),
)
SCENARIOS = {scenario.name: scenario for scenario in _ALL}

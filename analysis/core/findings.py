"""The warnings of one session: a collector, and what is known before anything is computed.

What the instruments show belongs to `findings_instruments`, what the plan and the runs show to
`findings_design`. Nothing is estimated here.
"""

from __future__ import annotations

from dataclasses import replace

from analysis.core.samples import Samples
from analysis.core.types import Level, Run, Session, Warning

ORDER = {"invalid": 0, "caution": 1, "note": 2}


class Findings:
    """Collects the warnings of one session, with those that the readers found."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.found: list[Warning] = list(session.notes)

    def add(self, code: str, level: Level, where: str, what: str, do: str) -> None:
        self.found.append(Warning(code, level, where, what, do))

    def forbids(self, label: str) -> bool:
        """Whether a verdict on the setup against the reference is forbidden; what is wrong with a third is its own."""
        places = [f"setup {setup.label}" for setup in self.session.setups]
        others = {place for place in places if place not in (f"setup {label}", f"setup {self.session.reference}")}
        return any(w.level == "invalid" and w.where not in others for w in self.found)

    def has(self, code: str) -> bool:
        return any(w.code == code for w in self.found)

    def ordered(self) -> tuple[Warning, ...]:
        return tuple(sorted(self.found, key=lambda w: ORDER[w.level]))

    def run_unusable(self, number: int, why: str) -> None:
        self.add(
            "run_unusable", "caution", f"run {number}", f"Run {number} was left out: {why}.",
            "Ride it again while the day lasts; the other runs stand without it.",
        )  # fmt: skip

    def air_blocked(self, number: int, how: str) -> None:
        self.add(
            "airspeed_blocked", "caution", f"run {number}", f"In run {number} the air sensor cannot be trusted: {how}.",
            "Clear the sensor's opening (water, insects, tape), look at its mount, and ride the run again.",
        )  # fmt: skip

    def low_power(self, label: str) -> None:
        self.add(
            "low_power_test", "note", f"setup {label}",
            f"Setup {label} is undecided, and more runs like these would hardly decide it: most of the doubt is shared "
            "by all runs of a setup, so it does not shrink with their number.",
            "Test on another day, in calmer air or with the air sensor farther out in front, and pool the days.",
        )  # fmt: skip

    def mass(self) -> bool:
        """Whether every run's mass is known; says so where it is assumed or missing."""
        s = self.session
        ridden = [r for r in s.runs if r.left_out is None]
        needing = [
            r for r in ridden if r.system_mass_kg is None and _setup_mass(s, r) is None and s.system_mass_kg is None
        ]
        if not needing:
            return True
        if s.rider_mass_kg is not None and s.bike.mass_kg is not None:
            self.add(
                "mass_missing", "note", "session",
                f"No system mass is given; rider and bike, {s.rider_mass_kg + s.bike.mass_kg:.1f} kg, were used.",
                "Weigh rider, bike and kit together as ridden and enter system_mass_kg: bottles and clothing are "
                "missing now.",
            )  # fmt: skip
            return True
        self.add(
            "mass_missing", "invalid", "session",
            "No system mass is given, and the rider's or the bike's mass is unknown.",
            "Weigh rider, bike and kit as ridden and enter system_mass_kg; then analyse again.",
        )  # fmt: skip
        return False

    def no_path(self, numbers: list[int], *, everywhere: bool) -> None:
        """Runs in which the stated course was not found."""
        course = self.session.course
        length = "of unknown length" if course.length_m is None else f"of {course.length_m:.0f} m"
        if everywhere:
            self.add(
                "course_mismatch", "invalid", "session",
                f"No run closes the stated course ({course.kind.replace('_', ' ')}, {length}): no whole number of "
                + ("laps fits, or it turns round as on an out and back." if course.kind == "lap" else "legs fits."),
                "Compare the course's kind and length_m (one way for out_and_back, once round for lap) with what "
                "was ridden.",
            )  # fmt: skip
            return
        for number in numbers:
            self.run_unusable(number, f"no closed path of the stated course ({length}) was found in it")

    def unmatched(self, usable: set[str]) -> None:
        """Setups that no usable run is left for."""
        for setup in self.session.setups:
            if setup.label not in usable:
                self.add(
                    "setup_unmatched", "invalid", f"setup {setup.label}", f"Setup {setup.label} has no usable run.",
                    "Ride it again, or take the setup out of the session; see why its runs were left out.",
                )  # fmt: skip

    def without_missing_air(self, runs: list[Samples]) -> list[Samples]:
        """Leave out runs without air speed where most runs have it; else go on without air speed altogether."""
        with_air = [r for r in runs if r.air_mps is not None]
        if len(with_air) == len(runs):
            return runs
        if 2 * len(with_air) <= len(runs):
            self.add(
                "no_airspeed", "caution", "session",
                "There is no air speed" + (" on most runs" if with_air else "") + ": whole legs were compared and "
                "the interval is several times wider.",
                "Use an air-speed sensor for differences under about 0.01 m2, or ride more runs in calm air.",
            )  # fmt: skip
            return [replace(r, air_mps=None) for r in runs]
        for r in runs:
            if r.air_mps is None:
                self.run_unusable(r.number, "it has no air speed and the other runs have")
        return with_air


def _setup_mass(session: Session, run: Run) -> float | None:
    return next((s.system_mass_kg for s in session.setups if s.label == run.setup), None)

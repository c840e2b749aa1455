"""What a session shows that a fitter must know: found, where, and what to do now. Nothing is estimated here."""

from __future__ import annotations

from analysis.core.assemble import Chain
from analysis.core.joint import Joint
from analysis.core.samples import Samples
from analysis.core.types import Level, Session, Warning

ORDER = {"invalid": 0, "caution": 1, "note": 2}


class Findings:
    """Collects the warnings of one session."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.found: list[Warning] = list(session.notes)

    def add(self, code: str, level: Level, where: str, what: str, do: str) -> None:
        self.found.append(Warning(code, level, where, what, do))

    @property
    def invalid(self) -> bool:
        return any(w.level == "invalid" for w in self.found)

    def ordered(self) -> tuple[Warning, ...]:
        return tuple(sorted(self.found, key=lambda w: ORDER[w.level]))

    def run_unusable(self, number: int, why: str) -> None:
        self.add(
            "run_unusable",
            "caution",
            f"run {number}",
            f"Run {number} was left out: {why}.",
            "Ride it again if there is time; the others stand without it.",
        )

    def without_missing_air(self, runs: list[Samples]) -> list[Samples]:
        with_air = [r for r in runs if r.air_mps is not None]
        if not with_air or len(with_air) == len(runs):
            return runs
        if 2 * len(with_air) < len(runs):
            return runs
        for r in runs:
            if r.air_mps is None:
                self.run_unusable(r.number, "the other runs have air speed and it has none")
        return with_air

    def mass_unknown(self) -> None:
        self.add(
            "mass_missing",
            "invalid",
            "session",
            "No system mass is given, and the rider's or the bike's mass is unknown.",
            "Weigh rider, bike and kit as ridden and enter system_mass_kg.",
        )

    def no_usable_run(self) -> None:
        self.add(
            "setup_unmatched",
            "invalid",
            "session",
            "No run is left that can be used.",
            "Look at the runs left out and why; ride them again.",
        )

    def no_path(self, numbers: list[int], *, all_runs: bool) -> None:
        if all_runs:
            self.add(
                "course_mismatch",
                "invalid",
                "session",
                "In no run was a closed path of the stated course found.",
                "Check the course's kind and length_m against what was ridden.",
            )
            return
        for n in numbers:
            self.run_unusable(n, "no closed path of the stated course was found in it")

    def of_chain(self, chain: Chain, joint: Joint) -> None:
        del chain, joint

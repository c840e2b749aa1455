"""The history of equipment: where pieces were mounted, how far they were ridden, which tests they took part in with
what result, and which check of the instruments was in force then.

The caller brings the mountings and sessions that may be seen; nothing here widens them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import F, Q, QuerySet

from analysis.results.models import Acceptance, Analysis
from studio.records.models import Calibration, EquipmentItem, FieldSession, Instrument, Mounting, Run, SetupItem

MOST_TESTS = 200
"""The newest are told in full; `tests_in_all` counts the rest."""


@dataclass(frozen=True, slots=True)
class Ridden:
    """Sums over runs: a run counts where its recording was read."""

    runs: int
    runs_not_read: int
    distance_m: float
    time_s: float


@dataclass(frozen=True, slots=True)
class Checked:
    """An instrument of a test and the last check of it up to that day."""

    instrument: Instrument
    check: Calibration | None


@dataclass(frozen=True, slots=True)
class Outcome:
    """One comparison of the accepted analysis, or the newest, in which a setup with the equipment stood."""

    analysis: UUID
    of_this: bool  # the equipment itself was what changed
    comparison: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class EquipmentTest:
    """One session that rode the equipment."""

    session: FieldSession
    slots: tuple[str, ...]
    setups: tuple[str, ...]
    ridden: Ridden
    outcomes: tuple[Outcome, ...]
    instruments: tuple[Checked, ...]


@dataclass(frozen=True, slots=True)
class EquipmentHistory:
    """What is known of some pieces of equipment together, newest first."""

    mountings: tuple[Mounting, ...]
    ridden: Ridden
    tests: tuple[EquipmentTest, ...]
    tests_in_all: int


def equipment_history(
    items: Iterable[EquipmentItem], *, mountings: QuerySet[Mounting], sessions: QuerySet[FieldSession]
) -> EquipmentHistory:
    """The history of these items, of the mountings and sessions that the caller may see."""
    pieces = {item.pk: item for item in items}
    fills = list(SetupItem.objects.filter(item__in=pieces).select_related("setup").order_by("setup_id", "slot"))
    by_setup: dict[UUID, list[SetupItem]] = {}
    for fill in fills:
        by_setup.setdefault(fill.setup_id, []).append(fill)
    runs = _runs_by_session(by_setup, sessions)
    newest = (
        sessions.filter(pk__in=runs)
        .select_related("rider", "bike", "course")
        .prefetch_related("instruments__calibrations")
        .order_by("-date", "-pk")[:MOST_TESTS]
    )
    shown = list(newest)
    found = _comparisons(shown)
    tests = tuple(_test(session, runs[session.pk], by_setup, pieces, found.get(session.pk)) for session in shown)
    mounted = mountings.filter(item__in=pieces).select_related("item", "bike", "rider").order_by("-mounted_at", "-pk")
    return EquipmentHistory(tuple(mounted), _sum(run for some in runs.values() for run in some), tests, len(runs))


def _runs_by_session(
    by_setup: Mapping[UUID, Sequence[SetupItem]], sessions: QuerySet[FieldSession]
) -> dict[UUID, list[Run]]:
    runs = Run.objects.filter(setup__in=by_setup, session__in=sessions.order_by().values("pk"), recording__isnull=False)
    grouped: dict[UUID, list[Run]] = {}
    for run in runs.only("session_id", "setup_id", "ridden_m", "ridden_s").order_by("number"):
        grouped.setdefault(run.session_id, []).append(run)
    return grouped


def _sum(runs: Iterable[Run]) -> Ridden:
    """Metres and seconds over the runs that were read."""
    listed = list(runs)
    read = [run for run in listed if run.ridden_s is not None]
    metres, seconds = (sum(getattr(run, name) or 0.0 for run in read) for name in ("ridden_m", "ridden_s"))
    return Ridden(len(listed), len(listed) - len(read), float(metres), float(seconds))


def _comparisons(sessions: Sequence[FieldSession]) -> dict[UUID, tuple[UUID, list[Mapping[str, Any]]]]:
    """The accepted analysis of each session, the newest where none is accepted, and its comparisons.

    The long parts of a result stay in the database.
    """
    accepted = Acceptance.objects.filter(session__in=sessions).values("analysis")
    told = Analysis.objects.filter(session__in=sessions).filter(Q(superseded_by=None) | Q(pk__in=accepted))
    rows = told.annotate(said=Q(pk__in=accepted)).order_by("said")  # what a fitter accepted is the session's word
    found = rows.values("session_id", "pk", comparisons=F("result__comparisons"))
    return {row["session_id"]: (row["pk"], row["comparisons"]) for row in found}


def _test(
    session: FieldSession,
    runs: Sequence[Run],
    by_setup: Mapping[UUID, Sequence[SetupItem]],
    pieces: Mapping[UUID, EquipmentItem],
    found: tuple[UUID, list[Mapping[str, Any]]] | None,
) -> EquipmentTest:
    fills = [fill for setup in dict.fromkeys(run.setup_id for run in runs) for fill in by_setup[setup]]
    labels = tuple(dict.fromkeys(fill.setup.label for fill in fills))
    names = {(f"items.{fill.slot}", pieces[fill.item_id].product.name) for fill in fills}
    analysis, comparisons = found or (session.pk, [])
    outcomes = tuple(
        Outcome(analysis, _is_of(comparison, names), comparison)
        for comparison in comparisons
        if {comparison["changed"], comparison["reference"]} & set(labels)
    )
    checked = tuple(Checked(one, _in_force(one, session.date)) for one in session.instruments.all())
    slots = tuple(dict.fromkeys(fill.slot for fill in fills))
    return EquipmentTest(session, slots, labels, _sum(runs), outcomes, checked)


def _is_of(comparison: Mapping[str, Any], names: set[tuple[str, str]]) -> bool:
    """Whether the equipment was what one side had and the other had not."""
    return any((change["factor"], side) in names for change in comparison["changes"] for side in _sides(change))


def _sides(change: Mapping[str, Any]) -> list[str]:
    return [value for value in (change["from"], change["to"]) if isinstance(value, str)]


def _in_force(instrument: Instrument, day: date) -> Calibration | None:
    """The last check up to the day of the test."""
    before = [check for check in instrument.calibrations.all() if check.done_on <= day]
    return max(before, key=lambda check: (check.done_on, check.pk), default=None)

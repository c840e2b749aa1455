"""Mending a setup that was entered wrong: a used one is frozen, so a new one takes its place and its runs move over."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from studio.records.errors import Conflict, StaleVersion, Unusable, fault, sentence
from studio.records.models import CorrectionKind, FieldSession, Product, Run, Setup, User
from studio.records.services import write
from studio.records.services.corrections import columns_of, correction_note, links_of, run_step
from studio.records.services.equipment import stock_piece
from studio.records.services.events import note_event
from studio.records.services.runs import run_write
from studio.records.services.sessions import replace_links, setup_faults
from studio.records.services.setups import SETUP_FIELDS, setup_create


def setup_mend(
    *,
    session: FieldSession,
    setup: Setup,
    by: User | None,
    changes: Mapping[str, Any],
    reason: str,
    numbers: Collection[int] | None = None,
    seen: Mapping[int, int] | None = None,
) -> Setup:
    """Make a new setup with what was wrong put right, and move the session's runs to it.

    `changes` may name any field of a setup, and `items` by slot: a piece, or a product of which the studio's own piece
    is meant; None empties a slot. Without `numbers` every run of
    the old setup moves, and the new one takes its place, reference or not, and may keep its label; both setups stay on
    record as they were ridden and as they are mended. `seen` are the versions of the setup's runs by number, as the
    caller read them: `StaleVersion` where somebody gave one of them another setup since, or changed it.
    """
    write.refuse_unknown(setup, changes, (*SETUP_FIELDS, "items"))
    with write.change_of(session.studio):
        if seen is not None and seen != versions_of_runs(session, setup):
            raise StaleVersion(f"The runs of setup {setup.label} were changed since they were read; read them again.")
        moved = _runs_to_move(session, setup, numbers)
        stays = session.runs.filter(setup=setup).exclude(pk__in=[run.pk for run in moved]).exists()
        links = links_of(session)
        mended = _mended(setup, by, changes)
        _refuse_label_twice(session, setup, mended, stays=stays)
        after = [[str(mended.pk) if key == str(setup.pk) else key, reference] for key, reference in links]
        replace_links(session, [*links, [str(mended.pk), False]] if stays else after)
        steps = [_moved(run, mended, by) for run in moved]
        note_event(studio=session.studio, by=by, verb="mended", record=session, detail={"reason": reason})
        correction_note(
            session=session,
            kind=CorrectionKind.MENDED,
            by=by,
            changes={"runs": steps, "links": {"before": links, "after": links_of(session)}},
            reason=reason,
        )
    return mended


def versions_of_runs(session: FieldSession, setup: Setup) -> dict[int, int]:
    """The version of every run of the setup in the session, by its number."""
    return dict(session.runs.filter(setup=setup).order_by("number").values_list("number", "version"))


def _runs_to_move(session: FieldSession, setup: Setup, numbers: Collection[int] | None) -> list[Run]:
    runs = {run.number: run for run in session.runs.filter(setup=setup).order_by("number")}
    if not runs:
        raise Conflict(f"No run of this session uses setup {setup.label}; somebody may have mended it already.")
    if numbers is None:
        return list(runs.values())
    faults = [
        fault("runs", f"run {number}", f"a run of setup {setup.label}: {', '.join(map(str, runs))}")
        for number in sorted(set(numbers) - runs.keys())
    ]
    if faults or not numbers:
        faults = faults or [fault("runs", "none", "at least one run, or no list for all of them")]
        raise Unusable(sentence("These runs cannot move", faults), faults=tuple(faults))
    return [runs[number] for number in sorted(set(numbers))]


def _mended(setup: Setup, by: User | None, changes: Mapping[str, Any]) -> Setup:
    """The setup once more, with the changes."""
    values = {name: changes.get(name, getattr(setup, name)) for name in SETUP_FIELDS}
    kept = {slot.slot: slot.item for slot in setup.slots.select_related("item")}
    given = {
        slot: stock_piece(product=one, by=by) if isinstance(one, Product) else one
        for slot, one in changes.get("items", {}).items()
    }
    filled = {slot: item for slot, item in (kept | given).items() if item is not None}
    if filled == kept and all(values[name] == getattr(setup, name) for name in SETUP_FIELDS if name != "label"):
        raise Unusable("Nothing is put right: the new setup would be the old one. Change what was wrong.")
    return setup_create(studio=setup.studio, by=by, bike=setup.bike, items=filled, **values)


def _refuse_label_twice(session: FieldSession, setup: Setup, mended: Setup, *, stays: bool) -> None:
    linked = Setup.objects.filter(session_links__session=session)
    faults = setup_faults(session, [*(linked if stays else linked.exclude(pk=setup.pk)), mended], "label")
    if faults:
        raise Unusable(sentence("The mended setup needs a label of its own", faults), faults=tuple(faults))


def _moved(run: Run, setup: Setup, by: User | None) -> dict[str, Any]:
    before = columns_of(run, ["setup"])
    run = run_write(record=run, by=by, version=run.version, changes={"setup": setup}, verb=CorrectionKind.REASSIGNED)
    return run_step(run, before, columns_of(run, ["setup"]))

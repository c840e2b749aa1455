"""Test days: the session's own facts, the setups it tests and the instruments it used. Runs are in `runs.py`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC
from typing import Any
from uuid import UUID

from django.db.models import F, Max
from django.utils import timezone

from analysis.readers.faults import Fault, shown
from analysis.readers.ranges import MOST, YEARS
from analysis.readers.schema import BUNDLE, shape_faults
from analysis.readers.times import known_zone, parse_time
from studio.records.errors import Conflict, Unusable, fault, sentence
from studio.records.models import CorrectionKind, FieldSession, Instrument, SessionSetup, Setup, Studio, User
from studio.records.services import write
from studio.records.services.corrections import columns_of, correction_note, links_of

SESSION_FIELDS = (
    "rider",
    "bike",
    "course",
    "title",
    "date",
    "timezone",
    "note",
    "fitter",
    "fitter_name",
    "plan",
    "weather",
    "rider_mass_kg",
    "system_mass_kg",
    "assumed_crr",
    "assumed_drivetrain_efficiency",
    "smallest_difference_m2",
    "repeatability_sd_m2",
    "repeatability_df",
)
LINKED = ("setups", "reference", "instruments")
HAS_RUNS = "The session has runs or recordings, and none may be lost; delete each of those first."


def session_create(
    *,
    studio: Studio,
    by: User | None,
    setups: Sequence[Setup] = (),
    reference: Setup | None = None,
    instruments: Sequence[Instrument] = (),
    **fields: object,
) -> FieldSession:
    """Open a test day. Without a reference the first setup is it."""
    with write.change_of(studio):
        session = write.create(FieldSession, studio=studio, by=by, fields=fields, rules=[_whole])
        _set_setups(session, setups, reference)
        _set_instruments(session, instruments)
    return session


def session_update(*, record: FieldSession, by: User | None, version: int, changes: Mapping[str, Any]) -> FieldSession:
    """Change a test day; `setups`, `reference` and `instruments` replace what was linked."""
    write.refuse_unknown(record, changes, (*SESSION_FIELDS, *LINKED))
    own = {name: value for name, value in changes.items() if name not in LINKED}
    with write.change_of(record.studio):
        session = write.update(record, by=by, version=version, changes=own, changeable=SESSION_FIELDS, rules=[_whole])
        if "setups" in changes or "reference" in changes:
            links = list(session.setup_links.select_related("setup"))
            setups = changes.get("setups", [link.setup for link in links])
            before = next((link.setup for link in links if link.reference and link.setup in setups), None)
            _set_setups(session, setups, changes.get("reference", before))
        if "instruments" in changes:
            _set_instruments(session, changes["instruments"])
    return session


def session_delete(*, record: FieldSession, by: User | None, version: int) -> None:
    """Delete a test day on which nothing was ridden or recorded; on the same day that can be undone."""
    with write.change_of(record.studio):
        if record.runs.exists() or record.recordings.exists():
            raise Conflict(HAS_RUNS)
        deleted = {
            "record": "session",
            "columns": columns_of(record),
            "links": links_of(record),
            "instruments": [str(key) for key in record.instruments.values_list("pk", flat=True)],
        }
        write.delete(record, by=by, version=version)
        kind = CorrectionKind.SESSION_DELETED
        correction_note(session=record, kind=kind, by=by, changes={"deleted": deleted})


def session_restore(
    *,
    values: Mapping[str, Any],
    setups: Sequence[Setup],
    reference: Setup | None,
    instruments: Sequence[Instrument],
    by: User | None,
) -> FieldSession:
    """Open a deleted test day again, the same row as before; its old entity tags stay stale."""
    session = FieldSession(**values)
    session.version += 1
    with write.change_of(session.studio):
        write.enter(session, by=by, rules=[_whole], verb="restored")
        _set_setups(session, setups, reference)
        _set_instruments(session, instruments)
    return session


def replace_links(session: FieldSession, links: Sequence[Sequence[Any]]) -> None:
    """Link exactly these setups (id, whether it is the reference), in this order; old entity tags are stale then."""
    SessionSetup.objects.filter(session=session).delete()
    SessionSetup.objects.bulk_create(
        SessionSetup(session=session, setup_id=key, order=order, reference=reference)
        for order, (key, reference) in enumerate(links)
    )
    _move_version(session)


def link_setup(session: FieldSession, setup: Setup) -> None:
    """Add a setup to those that a session tests, at the end; one that is there already stays where it is."""
    if not SessionSetup.objects.filter(session=session, setup=setup).exists():
        last = SessionSetup.objects.filter(session=session).aggregate(last=Max("order"))["last"]
        SessionSetup.objects.create(session=session, setup=setup, order=0 if last is None else last + 1)
        _move_version(session)


def hand_over_place(session: FieldSession, links: Sequence[Sequence[Any]], *, left: str, taker: str) -> None:
    """Where a setup's last run went to another setup, the other is tested in its stead, as reference if it was that.

    `links` are the session's as they were before the run went over. Without this an analysis would compare a setup of
    which there is no run. A setup that still waits for its first run stays as planned: it lost none.
    """
    keys = [key for key, _ in links]
    if left not in keys or session.runs.filter(setup_id=UUID(left)).exists():
        return
    marked = next((key for key, reference in links if reference), keys[0])
    if taker in keys:
        keys.remove(left)
    else:
        keys[keys.index(left)] = taker
    reference = taker if marked == left else marked
    replace_links(session, [[key, key == reference] for key in keys])


def _move_version(session: FieldSession) -> None:
    """The session says something else than whoever read it knows: their entity tags are stale."""
    FieldSession.objects.filter(pk=session.pk).update(version=F("version") + 1, updated_at=timezone.now())
    session.refresh_from_db(fields=["version", "updated_at"])


def setup_faults(session: FieldSession, setups: Sequence[Setup], key: str) -> list[Fault]:
    """Why setups cannot be tested together in a session."""
    faults = []
    labels: set[str] = set()
    if len(setups) > MOST["setups"]:
        faults.append(fault(key, f"{len(setups)} setups", f"at most {MOST['setups']} in a session"))
    for setup in setups:
        if setup.bike_id != session.bike_id:
            faults.append(fault(key, f"setup {setup.label} of another bike", "a setup of the session's bike"))
        if setup.label in labels:
            faults.append(fault(key, f"a second setup {setup.label}", "setups whose labels differ within the session"))
        labels.add(setup.label)
    return faults


def _set_setups(session: FieldSession, setups: Sequence[Setup], reference: Setup | None) -> None:
    setups = list(dict.fromkeys(setups))
    faults = setup_faults(session, setups, "setups")
    if reference is not None and reference not in setups:
        faults.append(fault("reference", f"setup {reference.label}", "one of the session's setups"))
    ridden = Setup.objects.filter(runs__session=session).exclude(pk__in=[setup.pk for setup in setups]).distinct()
    faults += [fault("setups", f"no setup {setup.label}", "every setup that a run used") for setup in ridden]
    if faults:
        raise Unusable(sentence("These setups cannot be tested in this session", faults), faults=tuple(faults))
    SessionSetup.objects.filter(session=session).delete()
    SessionSetup.objects.bulk_create(
        SessionSetup(session=session, setup=setup, order=order, reference=setup == reference)
        for order, setup in enumerate(setups)
    )


def _set_instruments(session: FieldSession, instruments: Sequence[Instrument]) -> None:
    strangers = [instrument for instrument in instruments if instrument.studio_id != session.studio_id]
    if strangers:
        faults = tuple(fault("instruments", shown(str(one.pk)), "an instrument of this studio") for one in strangers)
        raise Unusable(sentence("These instruments cannot be used", faults), faults=faults)
    session.instruments.set(instruments)


def _whole(session: FieldSession) -> Iterable[Fault]:
    if session.bike.rider_id != session.rider_id:
        yield fault("bike", shown(session.bike.name), "a bike of the session's rider")
    if not YEARS[0] <= session.date.year <= YEARS[1]:
        yield fault("date", shown(session.date.isoformat()), f"a date in the years {YEARS[0]} to {YEARS[1]}")
    if known_zone(session.timezone) is None:
        yield fault("timezone", shown(session.timezone), "an IANA time zone such as Atlantic/Azores")
    if not session._state.adding:
        yield from setup_faults(session, list(Setup.objects.filter(session_links__session=session)), "bike")
    yield from _weather_faults(session.weather)


def _weather_faults(weather: object) -> Iterable[Fault]:
    faults = shape_faults("", weather, BUNDLE["properties"]["weather"], "weather")
    if faults or not isinstance(weather, list):
        yield from faults
        return
    for at, reading in enumerate(weather):
        try:
            zoned = not parse_time(reading["time"], UTC)[1]
        except (ValueError, OverflowError):
            zoned = False
        if not zoned:
            allowed = "a date and time with zone, such as 2026-05-09T08:10:00Z"
            yield fault(f"weather[{at}].time", shown(reading["time"]), allowed)

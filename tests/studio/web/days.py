"""A test day as rows, complete enough that every part of a page has something to say."""

from __future__ import annotations

from analysis.results.models import Analysis
from studio.records.models import FieldSession, Rider
from tests.factories import (
    NOON,
    AnalysisFactory,
    CourseFactory,
    EquipmentItemFactory,
    FieldSessionFactory,
    PositionFactory,
    ProductFactory,
    RecordingFactory,
    ReportFactory,
    RunFactory,
    SessionSetupFactory,
    SetupFactory,
    SetupItemFactory,
)
from tests.studio.web.stories import DRIFT, ORDER, story

WEATHER = [{"time": "2026-05-09T08:00:00Z", "temperature_c": 18.0, "pressure_hpa": 1008, "humidity_pct": 55}]
FINDING = {"code": "gaps", "level": "caution", "where": "run 2", "what": "4 s are missing.", "do": "Nothing to do."}


def day(rider: Rider, *, title: str = "two wheels", piece=None, **more) -> FieldSession:
    """A session with two setups, eight runs (the third left out) and their recordings; `piece` is setup B's wheels."""
    studio = rider.studio
    course = CourseFactory(studio=studio, kind="out_and_back", length_m=1500, bearing_deg=60)
    session = FieldSessionFactory(rider=rider, title=title, course=course, weather=WEATHER, fitter_name="Bo", **more)
    setups = {}
    for order, (label, wheels) in enumerate({"A": "Tarn 40", "B": "Tarn 50"}.items()):
        position = PositionFactory(bike=session.bike)
        setup = SetupFactory(bike=session.bike, label=label, position=position, tyre_pressure_kpa={"front": 520})
        product = ProductFactory(studio=studio, name=f"{wheels} {session.pk.hex[-4:]}")
        item = piece if piece and label == "B" else EquipmentItemFactory(product=product)
        SetupItemFactory(setup=setup, slot="wheels", item=item)
        SessionSetupFactory(session=session, setup=setup, order=order, reference=label == "A")
        setups[label] = setup
    for number, label in enumerate(ORDER, 1):
        facts = {"state": "read", "samples": 290, "started_at": NOON, "findings": [FINDING] if number == 2 else []}
        recording = RecordingFactory(session=session, filename=f"run-{number:02d}.csv", format="csv", **facts)
        left_out = "stopped at a gate" if number == 3 else ""
        RunFactory(session=session, number=number, setup=setups[label], recording=recording, left_out=left_out)
    return session


def answered(rider: Rider, verdict: str = "faster", **more) -> Analysis:
    """A day with its analysis and a report on it."""
    analysis = AnalysisFactory(session=day(rider, **more), number=1, result=story(verdict, warnings=(DRIFT,)))
    ReportFactory(analysis=analysis)
    return analysis

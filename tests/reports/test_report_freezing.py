"""The freezing: what is read from the records, what stays out, and that the result goes in as it stands."""

import json
from datetime import UTC, datetime

import pytest

from reports.facts import freeze
from reports.render import render_pdf
from tests.factories import (
    AnalysisFactory,
    CourseFactory,
    EquipmentItemFactory,
    FieldSessionFactory,
    InstrumentFactory,
    RecordingFactory,
    RiderFactory,
    RunFactory,
    SessionSetupFactory,
    SetupItemFactory,
)
from tests.reports import stored
from tests.reports.conftest import text_of

AT = datetime(2026, 5, 11, 13, 3, 27, tzinfo=UTC)


@pytest.fixture
def session(studio):
    rider = RiderFactory(
        studio=studio,
        code="R-014",
        given_names="Cy",
        family_name="Marrow",
        health_notes="left knee",
        contact="cy@example.org",
    )
    course = CourseFactory(studio=studio, kind="out_and_back", length_m=1500.0, bearing_deg=60.0)
    return FieldSessionFactory(rider=rider, course=course, title="Two wheels", note="quarrelled", fitter_name="Bo")


@pytest.fixture
def analysis(session):
    setups = {}
    for i, label in enumerate("AB"):
        link = SessionSetupFactory(session=session, setup__label=label, order=i, reference=i == 0)
        item = EquipmentItemFactory(product__studio=session.studio, product__name=f"Tarn {40 + 10 * i}", serial=f"s{i}")
        SetupItemFactory(setup=link.setup, slot="wheels", item=item)
        setups[label] = link.setup
    for number, label in enumerate("ABBAABBA", start=1):
        recording = RecordingFactory(
            session=session,
            started_at=datetime(2026, 5, 9, 8, number, tzinfo=UTC),
            ended_at=datetime(2026, 5, 9, 9, number, tzinfo=UTC),
        )
        left_out = "stopped at a gate" if number == 4 else ""
        RunFactory(session=session, number=number, setup=setups[label], recording=recording, left_out=left_out)
    return AnalysisFactory(session=session, result=stored.result("slower"))


def frozen(analysis, by=None):
    return freeze(analysis=analysis, number=7, issued_by=by, issued_at=AT)


def test_the_result_goes_in_as_it_stands(analysis):
    assert frozen(analysis)["result"] == analysis.result


def test_facts_are_plain_json_and_the_same_twice(analysis):
    facts = frozen(analysis)
    assert json.loads(json.dumps(facts, allow_nan=False)) == facts
    assert frozen(analysis) == facts


def test_frozen_facts_have_the_shape_that_the_other_tests_draw(analysis, fitter_bo):
    def shape(value):
        return {key: shape(inner) for key, inner in value.items()} if isinstance(value, dict) else None

    facts, by_hand = shape(frozen(analysis, fitter_bo)), shape(stored.facts(stored.result("slower")))
    by_hand["left_out"] = facts["left_out"]
    by_hand["setups"] = facts["setups"]
    assert facts == by_hand


def test_names_times_and_reasons_come_from_the_records(analysis, fitter_bo):
    facts = frozen(analysis, fitter_bo)
    assert facts["customer"] == {"code": "R-014", "name": "Cy Marrow"}
    assert facts["report"]["issued_by"] == "bo"
    assert facts["session"]["ridden"] == ["08:01", "09:08"]
    assert facts["left_out"] == {"4": "stopped at a gate"}
    assert facts["setups"][1]["items"] == {"wheels": {"name": "Tarn 50", "serial": "s1"}}
    assert len(facts["recordings"]) == 8


def test_issue_times_are_told_on_the_studios_clock(analysis):
    analysis.studio.timezone = "Pacific/Auckland"
    assert frozen(analysis)["report"]["issued_local"] == "2026-05-12 01:03 (Pacific/Auckland)"


def test_private_notes_stay_out(analysis):
    text = json.dumps(frozen(analysis))
    assert not [word for word in ("left knee", "cy@example.org", "quarrelled") if word in text]


def test_instruments_carry_their_last_check(analysis, session):
    one = InstrumentFactory(studio=session.studio, name="Orlo", serial="77")
    for day, result in ((1, "old"), (5, "+0.4 %")):
        one.calibrations.create(studio=session.studio, done_on=f"2026-04-0{day}", result=result)
    session.instruments.add(one)
    (found,) = frozen(analysis)["instruments"]
    assert found["last_check"] == {"done_on": "2026-04-05", "result": "+0.4 %", "due_on": None}


def test_later_changes_of_the_records_change_no_frozen_report(analysis):
    facts = frozen(analysis)
    before = render_pdf(facts)
    analysis.session.rider.family_name = "Other"
    analysis.session.rider.save()
    assert render_pdf(facts) == before
    assert "Cy Marrow" in text_of(before)

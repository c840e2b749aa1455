"""The demo: what it holds, that it is loaded once, and never into somebody's own records."""

import pytest
from django.utils import timezone

from analysis.jobs.demo import demo_session
from analysis.jobs.demo_bundle import demo_bundle
from analysis.jobs.demo_studio import PASSWORD, SIGN_INS, DemoRefused, demo_is_here, open_demo
from analysis.jobs.demo_world import DAYS, RIDERS
from analysis.results.models import BACKGROUND_PRIORITY, Job
from analysis.results.services.jobs import claim_next
from studio.config.verification import findings
from studio.records.models import FieldSession, Product, Rider, Studio, User

OPEN_SEA = {"latitude": (51.5, 53.5), "longitude": (-37.0, -33.0)}  # North Atlantic, no land within 1,500 km


@pytest.fixture
def demo(db):
    open_demo()


def test_it_holds_what_it_promises(demo):
    assert Rider.objects.count() >= 6
    assert len({rider.bike for rider in RIDERS}) >= 3
    assert Product.objects.filter(list_price__isnull=False, currency="EUR").count() >= 20
    assert Job.objects.filter(kind="demo_session", priority=BACKGROUND_PRIORITY).count() == len(DAYS) == 12


@pytest.mark.parametrize("username", SIGN_INS)
def test_the_four_sign_ins_work_and_have_their_roles(demo, username):
    user = User.objects.get(username=username)
    assert user.check_password(PASSWORD)
    assert user.membership.role == username


def test_the_client_is_one_of_the_riders(demo):
    assert User.objects.get(username="client").rider.code == RIDERS[0].code


def test_a_second_opening_changes_nothing(demo):
    before = User.objects.count(), Product.objects.count(), Job.objects.count()
    open_demo()
    assert (User.objects.count(), Product.objects.count(), Job.objects.count()) == before


def test_it_stays_out_of_somebodys_own_records(studio):
    with pytest.raises(DemoRefused, match="records of its own"):
        open_demo()
    assert not demo_is_here()


def test_an_account_alone_is_somebodys_own_record_too(db):
    User.objects.create_user("somebody")
    with pytest.raises(DemoRefused, match="records of its own"):
        open_demo()
    assert not Studio.objects.exists()


def test_one_day_sags_one_cannot_decide_and_one_changes_two_things():
    assert sum("sag_per_hour" in day.world for day in DAYS) == 1
    assert sum(len(day.changed.get("items", ())) > 1 for day in DAYS) == 1
    assert any(day.world.get("order") == "ABBA" for day in DAYS)


@pytest.mark.parametrize("number", range(1, len(DAYS) + 1))
def test_every_place_lies_in_open_sea(number):
    _, files = demo_bundle(number)
    first, *rows = files["run-01.csv"].decode().splitlines()
    columns = first.split(",")
    for axis, (low, high) in OPEN_SEA.items():
        at = columns.index(f"{axis}_deg")
        assert all(low < float(row.split(",")[at]) < high for row in rows)


def test_the_same_number_gives_the_same_bytes():
    assert demo_bundle(3) == demo_bundle(3)


def test_a_days_job_imports_and_analyses_it_and_leaves_no_file_that_no_record_names(demo, settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"
    result = demo_session(claim_next(worker="one"))
    assert FieldSession.objects.get(pk=result["session"]).title == DAYS[0].title
    Job.objects.all().delete()  # no job at work
    assert [finding for finding in findings(now=timezone.now()) if finding.startswith(("File", "Recording"))] == []

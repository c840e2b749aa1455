"""The demo: what it holds, that it is loaded once, and never into somebody's own records."""

import math

import numpy as np
import pytest
from django.utils import timezone

from analysis.core.pool.publish import FEW
from analysis.jobs.demo import demo_accepting, demo_session
from analysis.jobs.demo_bundle import demo_bundle, world_of
from analysis.jobs.demo_studio import PASSWORD, SIGN_INS, DemoRefused, demo_is_here, open_demo
from analysis.jobs.demo_world import DAYS, RIDERS, WHEELS_M2, WHEELS_OF
from analysis.jobs.editions import make_edition
from analysis.results.models import BACKGROUND_PRIORITY, Arm, Job
from analysis.results.services.jobs import claim_next, job_create
from analysis.results.standings import current_edition, standings_of
from studio.config.verification import findings
from studio.records.models import FieldSession, Product, Rider, Studio, User
from tests.factories import ArmFactory, FieldSessionFactory

OPEN_SEA = {"latitude": (51.5, 53.5), "longitude": (-37.0, -33.0)}  # North Atlantic, no land within 1,500 km


@pytest.fixture
def demo(db):
    open_demo()


def test_it_holds_what_it_promises(demo):
    assert Rider.objects.count() >= 6
    assert len({rider.bike for rider in RIDERS}) >= 3
    assert Product.objects.filter(list_price__isnull=False, currency="EUR").count() >= 20
    assert Job.objects.filter(kind="demo_session", priority=BACKGROUND_PRIORITY).count() == len(DAYS) == 24


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


def test_the_wheels_of_all_riders_make_standings_with_one_withheld(demo):
    """What the days say, without riding them: the estimator's own errors are those of some 0.0012 m2 an arm."""
    rng = np.random.default_rng(3)
    arms = []
    for day in (day for day in DAYS if day.accepted):
        wheels = ["Tarn 40", *(changed["items"]["wheels"] for changed in (day.changed, *day.further))]
        arms += [(day.rider, name, 0.25 + WHEELS_M2.get(name, 0.0) + rng.normal(0.0, 0.0012)) for name in wheels]
    for rider, name, value in arms:
        owner = Rider.objects.get(code=RIDERS[rider].code)
        session = FieldSession.objects.filter(rider=owner).first() or FieldSessionFactory(rider=owner)
        product = Product.objects.get(category="wheels", name=name)
        ArmFactory(analysis__session=session, product=product, cda_m2=value, se_m2=0.0012)
    job_create(kind="make_edition", studio=Studio.objects.get(), by=None, priority=1)
    make_edition(claim_next(worker="w"))
    rows = standings_of(current_edition(Studio.objects.get()), category="wheels").products
    assert sum(row.withheld is None for row in rows) >= 5
    assert [row.withheld for row in rows if row.withheld] == [FEW]


@pytest.mark.parametrize("number", range(1, len(DAYS) + 1))
def test_every_course_lies_in_open_sea(number):
    world, reach_deg = world_of(number), 0.1  # 6.8 km from east to west here, and 11 from north to south
    assert world.length_m < 6000.0
    for axis, (low, high) in OPEN_SEA.items():
        assert low + reach_deg < math.degrees(getattr(world, f"{axis}_rad")) < high - reach_deg


@pytest.mark.parametrize("number", [1, len(DAYS)])
def test_every_recorded_place_lies_where_its_world_does(number):
    _, files = demo_bundle(number)
    first, *rows = files["run-01.csv"].decode().splitlines()
    columns = first.split(",")
    for axis in OPEN_SEA:
        at, start = columns.index(f"{axis}_deg"), math.degrees(getattr(world_of(number), f"{axis}_rad"))
        assert all(abs(float(row.split(",")[at]) - start) < 0.1 for row in rows)


def test_the_same_number_gives_the_same_bytes():
    assert demo_bundle(3) == demo_bundle(3)


def test_a_days_job_imports_and_analyses_it_and_leaves_no_file_that_no_record_names(demo, settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"
    result = demo_session(claim_next(worker="one"))
    assert FieldSession.objects.get(pk=result["session"]).title == DAYS[0].title
    Job.objects.all().delete()  # no job at work
    assert [finding for finding in findings(now=timezone.now()) if finding.startswith(("File", "Recording"))] == []


def test_the_fitter_accepts_the_wheel_days_and_their_wheels_count(demo, settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"
    first = next(number for number, day in enumerate(DAYS, start=1) if day.accepted)
    Job.objects.filter(kind="demo_session").exclude(payload__number=first).delete()
    demo_session(claim_next(worker="one"))
    assert demo_accepting(claim_next(worker="one")) == {"accepted": 1}
    assert {arm.product.name for arm in Arm.objects.all()} == {"Tarn 40", *WHEELS_OF[0]}
    assert Job.objects.filter(kind="make_edition").exists()

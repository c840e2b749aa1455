"""Files at the pages: several added at once, what was found in one, its fields mapped, its parts made runs."""

import re
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from analysis.jobs.runner import run
from analysis.results.models import Job
from analysis.results.services.jobs import claim_next
from studio.records.models import DeviceMapping, FieldSession, Recording, Run
from tests.factories import FieldSessionFactory, SessionSetupFactory, SetupFactory
from tests.studio.web.markup import Page

MIB = 1024 * 1024
LAPS = b"time,power_w,speed_mps,lap\n" + b"".join(
    b"2026-05-09T08:%02d:%02dZ,250,10,%d\n" % (at // 60, at % 60, 1 + at // 60) for at in range(180)
)


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"


@pytest.fixture
def bo(fitter_bo, browser):
    return browser(fitter_bo)


@pytest.fixture
def session(studio):
    made = FieldSessionFactory(rider__studio=studio)
    for order, label in enumerate("AB"):
        SessionSetupFactory(session=made, setup=SetupFactory(bike=made.bike, label=label), order=order)
    return made


def add(client, session, **files):
    uploads = [SimpleUploadedFile(f"{name}.csv", content) for name, content in files.items()]
    return client.post(f"/sessions/{session.pk}/files/", {"file": uploads})


def work():
    while (attempt := claim_next(worker="one")) is not None:
        run(attempt)


def address(client, session, content, name="day"):
    """The page of a file that was added and read."""
    add(client, session, **{name: content})
    work()
    return f"/recordings/{Recording.objects.get(filename=f'{name}.csv').pk}/"


def text_of(response, status=200):
    assert response.status_code == status, response.content.decode()
    return Page(response.content.decode()).text


def test_several_files_are_added_at_once_and_each_is_read(bo, session):
    response = add(bo, session, one=LAPS, two=LAPS.replace(b"250", b"251"))
    assert response.url == f"/sessions/{session.pk}/"
    assert Job.objects.filter(kind="read_recording").count() == 2
    assert "Added: 2 files" in text_of(bo.get(response.url))


def test_what_can_be_kept_is_kept_and_the_rest_is_named(bo, session):
    said = text_of(add(bo, session, one=LAPS, two=b""), 422)
    assert "two.csv: The recording is empty." in said
    assert Recording.objects.get().filename == "one.csv"


def test_no_file_and_too_many_bytes_are_told(bo, session, settings):
    path = f"/sessions/{session.pk}/files/"
    assert "No file was chosen" in text_of(bo.post(path, {}), 400)
    settings.UPLOAD_MAX_BYTES = MIB
    settings.FILE_UPLOAD_HANDLERS = []  # parsing the form at all would now fail
    assert "larger than 1 MiB together" in text_of(add(bo, session, one=b"\0" * (2 * MIB)), 413)


def test_the_page_says_what_was_found(bo, session):
    said = text_of(bo.get(address(bo, session, LAPS)))
    for words in ("9 May 2026, 08:00:00 to 08:02:59 (Atlantic/Azores)", "as the file says", "180, one every 1 s"):
        assert words in said
    assert re.search(r"power_w .* 100 % 250 to 250 W", said)


def test_laps_with_a_setup_become_runs(bo, session):
    path = address(bo, session, LAPS)
    a, b = (str(link.setup_id) for link in session.setup_links.all())
    response = bo.post(f"{path}cut/", {"setup-lap-1": a, "setup-lap-2": "", "setup-lap-3": b})
    assert response.url == f"/sessions/{session.pk}/"
    assert [(r.number, r.lap, str(r.setup_id)) for r in Run.objects.order_by("number")] == [(1, 1, a), (2, 3, b)]
    assert "Cut: runs 1 to 2 are entered." in text_of(bo.get(response.url))


def test_times_of_ones_own_are_of_the_sessions_clock(bo, session):
    path = address(bo, session, LAPS)
    setup = str(session.setup_links.first().setup_id)
    FieldSession.objects.update(timezone="Asia/Seoul")  # UTC+9 (IANA time zone database)
    times = {"begins-time-1": "17:00:10", "ends-time-1": "17:01:10"}
    assert bo.post(f"{path}cut/", {"setup-time-1": setup, **times}).status_code == 302
    made = Run.objects.get()
    assert (made.started_at.isoformat(), made.ended_at.isoformat()) == (
        "2026-05-09T08:00:10+00:00", "2026-05-09T08:01:10+00:00",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("sent", "told"),
    [
        ({}, "No part has a setup yet"),
        ({"setup-lap-1": "A", "setup-lap-2": "A", "setup-time-1": "A", "begins-time-1": "08:00:10",
          "ends-time-1": "08:00:20"}, "Time 1, from: found a part that run 1 has too"),
        ({"setup-time-1": "A", "begins-time-1": "08:00:10"}, "Time 1: write both times as 08:10:00"),
        ({"setup-time-1": "A", "begins-time-1": "08:01:00", "ends-time-1": "08:00:10"}, "which is not after 08:01:00"),
        ({"setup-lap-1": "other"}, "Lap 1: the setup is none of this bike's"),
    ],
)  # fmt: skip
def test_what_cannot_be_cut_is_told_and_what_was_chosen_stays(bo, session, sent, told):
    path = address(bo, session, LAPS)
    setup = str(session.setup_links.first().setup_id)
    sent = {key: setup if value == "A" else value for key, value in sent.items()}
    response = bo.post(f"{path}cut/", sent)
    assert told in text_of(response, 422)
    assert not Run.objects.exists()
    chosen = [one for one in Page(response.content.decode()).all("option") if "selected" in one]
    assert len(chosen) == sum(value == setup for value in sent.values())


def test_a_foreign_file_is_mapped_from_its_page_and_read(bo, session):
    path = address(bo, session, b"Zeit;Leistung\n0;250\n1;251\n")
    assert "It could not be read." in text_of(bo.get(path))
    assert "now left unread" in text_of(bo.get(f"{path}fields/"))
    response = bo.post(f"{path}fields/", {"version": "0", "channel-0": "time", "channel-1": "power_w", "unit-1": "w"})
    assert response.url == f"/jobs/{Job.objects.first().pk}/"
    work()
    said = text_of(bo.get(path))
    assert "'Leistung' is read as power_w." in said
    assert DeviceMapping.objects.get().rules == {"Zeit": "time", "Leistung": "power_w"}


def test_a_mapping_is_seen_changed_and_taken_back(bo, session):
    path = address(bo, session, LAPS)
    bo.post(f"{path}fields/", {"version": "0", "channel-1": "power_w", "scale-1": "0.5", "offset-1": "2"})
    work()
    assert "127 to 127 W" in text_of(bo.get(path))
    page = Page(bo.get(f"{path}fields/").content.decode())
    values = {one["name"]: one.get("value") for one in page.all("input") if one.get("name")}
    assert (values["scale-1"], values["offset-1"], values["version"]) == ("0.5", "2.0", "1")
    bo.post(f"{path}fields/", {"version": "1"})
    work()
    assert "250 to 250 W" in text_of(bo.get(path))


def test_faults_of_a_mapping_are_told_by_the_fields_name(bo, session):
    path = address(bo, session, LAPS)
    sent = {"version": "0", "channel-1": "power_w", "unit-1": "km/h", "channel-2": "speed_mps", "scale-2": "fast"}
    said = text_of(bo.post(f"{path}fields/", sent), 422)
    assert "power_w, unit: found 'km/h'; allowed: w, watts, watt, kw." in said
    assert "speed_mps, scale: found 'fast'; allowed: a number." in said
    assert not DeviceMapping.objects.exists()


def test_two_who_map_one_device_do_not_write_over_each_other(bo, session):
    path = address(bo, session, LAPS)
    first = {"version": "0", "channel-1": "power_w", "scale-1": "0.5"}
    bo.post(f"{path}fields/", first)
    assert "was changed or deleted since it was read" in text_of(
        bo.post(f"{path}fields/", {**first, "scale-1": "2"}), 422
    )
    assert DeviceMapping.objects.get().rules == {"power_w": "power_w*0.5"}


def test_a_day_far_from_its_recordings_is_told_on_both_pages(bo, session):
    path = address(bo, session, LAPS)
    assert "days after the session's date" not in text_of(bo.get(path))
    FieldSession.objects.update(date=date(2026, 5, 2))
    for page in (path, f"/sessions/{session.pk}/"):
        assert "recorded on 9 May 2026, 7 days after the session's date, 2 May 2026" in text_of(bo.get(page))


def test_pages_of_files_cost_the_same_for_few_and_many_recordings(bo, session, django_assert_num_queries):
    path = address(bo, session, LAPS)
    # browser session, user, membership, the recording with its own, its job, setups of the session, others, its runs
    with django_assert_num_queries(8):
        bo.get(path)
    for at in range(3):
        add(bo, session, **{f"more-{at}": LAPS.replace(b"250", b"25%d" % (at + 1))})
    work()
    with django_assert_num_queries(8):
        bo.get(path)

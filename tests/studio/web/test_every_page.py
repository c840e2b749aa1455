"""What holds for every page: nothing inline, sound markup, a strict content policy, and who may open it."""

import math
import re

import numpy as np
import pytest
from django.contrib.staticfiles import finders
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.template.loader import get_template
from django.urls import resolve

from analysis.readers.parquet import recording_to_parquet
from analysis.readers.samples import Lap
from analysis.readers.samples import Recording as Reading
from studio.records.models import Correction, Instrument
from studio.records.services.invitations import invitation_create
from studio.records.services.mending import setup_mend
from studio.records.services.recordings import recording_read
from studio.records.services.runs import run_update
from studio.records.store import keep_file
from studio.web import urls
from tests.factories import (
    NOON,
    AnalysisFactory,
    ApiTokenFactory,
    CalibrationFactory,
    DeviceMappingFactory,
    EquipmentItemFactory,
    JobFactory,
    MountingFactory,
    RecordingFactory,
)
from tests.studio.web.days import answered
from tests.studio.web.markup import Page
from tests.studio.web.stories import COMPARISONS, NO_PATH

PROBLEM = {
    "title": "Well formed, and cannot be used",
    "detail": "Two faults.",
    "errors": [{"file": "<b>.csv", "line": 14, "key": "power_w", "given": "'n/a'", "allowed": "a number"}],
}
JOBS = {
    "queued": {},
    "running": {"lease_until": NOON, "progress": 0.4, "message": "reading"},
    "done": {"progress": 1.0, "result": {"session": str(NOON.year), "analysis": str(NOON.year)}},
    "failed": {"message": "A fault of the studio."},
    "refused": {"problem": PROBLEM},
}

EVERYBODY = {"anonymous": 302, "shop": 403, "client": 200, "fitter": 200, "owner": 200, "outsider": 404}
STAFF = EVERYBODY | {"client": 403}
LISTS = {"outsider": 200}
WHOEVER = dict.fromkeys(EVERYBODY, 200)


@pytest.fixture
def world(analysis, bare_day, owner_ada, fitter_bo, rider_cy):
    """Rows behind every address, and the addresses by name with who gets which answer."""
    jobs = {"done": {"result": {"session": str(bare_day.pk), "analysis": str(analysis.pk)}}}
    made = [
        JobFactory(
            studio=fitter_bo.membership.studio,
            requested_by=fitter_bo,
            kind="import_bundle",
            payload={"filename": "day.zip"},
            state=state,
            **facts | jobs.get(state, {}),
        )
        for state, facts in JOBS.items()
    ]
    ApiTokenFactory(user=fitter_bo)
    recordings = recordings_of(bare_day)
    own = piece(rider_cy)
    verdicts = [answered(rider_cy, verdict) for verdict in COMPARISONS]
    return {
        "/": {"anonymous": 302, **dict.fromkeys(["shop", "client", "fitter", "owner", "outsider"], 302)},
        "/sign-in/": {"anonymous": 200, **dict.fromkeys(["shop", "client", "fitter", "owner", "outsider"], 302)},
        f"/join/{invitation_create(studio=owner_ada.membership.studio, by=owner_ada, role='fitter')[1]}/": WHOEVER,
        "/join/no-such-key/": dict.fromkeys(EVERYBODY, 404),
        "/sessions/": EVERYBODY | LISTS,
        f"/sessions/{analysis.session_id}/": EVERYBODY,
        f"/sessions/{bare_day.pk}/": EVERYBODY,
        f"/sessions/{bare_day.pk}/analyse/": STAFF | {"fitter": 302, "owner": 302},
        f"/sessions/{bare_day.pk}/accept/": STAFF | {"fitter": 302, "owner": 302},
        f"/runs/{bare_day.runs.get(number=1).pk}/": STAFF,
        f"/runs/{bare_day.runs.get(number=3).pk}/": STAFF,
        **{f"/sessions/{one.pk}/corrections/": STAFF for one in (bare_day, analysis.session)},
        f"/sessions/{bare_day.pk}/delete/": STAFF,
        f"/sessions/{bare_day.pk}/instruments/": STAFF,
        f"/sessions/{bare_day.pk}/setups/{bare_day.setup_links.first().setup_id}/mend/": STAFF,
        "/corrections/": STAFF | LISTS,
        f"/corrections/{corrected(bare_day, fitter_bo)}/undo/": STAFF | {"fitter": 302, "owner": 302},
        f"/results/{analysis.pk}/report/": STAFF | {"fitter": 302, "owner": 302},
        **{f"/results/{one.pk}/": EVERYBODY for one in verdicts},
        **{f"/results/{one.pk}/before/": EVERYBODY for one in analysed_again(verdicts)},
        f"/results/{analysis.pk}/before/": dict.fromkeys(EVERYBODY, 302) | {"shop": 403, "outsider": 404},
        f"/sessions/{analysis.session_id}/files/": STAFF,
        **{f"/recordings/{one.pk}/": STAFF for one in recordings},
        **{f"/recordings/{one.pk}/fields/": STAFF for one in recordings},
        f"/recordings/{recordings[0].pk}/cut/": STAFF | {"fitter": 302, "owner": 302},
        **equipment_pages(rider_cy, own),
        "/upload/": STAFF | LISTS,
        "/jobs/": STAFF | LISTS,
        **{f"/jobs/{job.pk}/": STAFF for job in made},
        "/standings/": dict.fromkeys(EVERYBODY, 200) | {"anonymous": 302, "client": 403},
        "/standings/transfer/": STAFF | LISTS,
        "/trail/": dict.fromkeys(EVERYBODY, 403) | {"anonymous": 302, "owner": 200},
        "/people/": dict.fromkeys(EVERYBODY, 403) | {"anonymous": 302, "owner": 200},
        f"/people/{fitter_bo.membership.pk}/": dict.fromkeys(EVERYBODY, 403) | {"anonymous": 302, "owner": 200},
        "/consents/": EVERYBODY | LISTS | {"client": 302},
        f"/riders/{rider_cy.pk}/consents/": EVERYBODY,
        "/account/": dict.fromkeys(EVERYBODY, 200) | {"anonymous": 302},
    }


def equipment_pages(rider, own):
    """The shop's shelves: products, the piece, what measures, and a device whose fields are remembered."""
    device = DeviceMappingFactory(studio=rider.studio, name="<b>head unit", rules={"mood": "power_w"})
    return {
        "/equipment/": STAFF | LISTS,
        "/equipment/stock/": STAFF | LISTS,
        f"/equipment/products/{own.product_id}/": STAFF,
        f"/equipment/items/{own.pk}/": EVERYBODY,
        f"/equipment/items/{own.pk}/mount/": STAFF | {"fitter": 302, "owner": 302},
        f"/equipment/mountings/{own.mountings.get().pk}/take-off/": STAFF | {"fitter": 302, "owner": 302},
        "/instruments/": STAFF | LISTS,
        f"/instruments/{Instrument.objects.get(studio=rider.studio).pk}/": STAFF,
        "/devices/": STAFF | LISTS,
        f"/devices/{device.pk}/forget/": STAFF | {"fitter": 302, "owner": 302},
    }


def corrected(session, by):
    """Two corrections of the session, the first that of a mended setup; the newest one's id."""
    setup = session.setup_links.last().setup
    setup_mend(session=session, setup=setup, by=by, changes={"clothing": "<i>wool"}, reason="as worn")
    run = session.runs.get(number=2)
    run_update(record=run, by=by, version=run.version, changes={"left_out": "a gust"})
    return Correction.objects.first().pk


def analysed_again(verdicts):
    """For each verdict a newer analysis in its place, which says another."""
    later = [*verdicts[1:], verdicts[0]]
    return [
        AnalysisFactory(session=one.session, number=2, supersedes=one, result=other.result)
        for one, other in zip(verdicts, later, strict=True)
    ]


def recordings_of(session):
    """One that was read, one that could not be, one that waits."""
    device = {"columns": ["time", "<b>mood</b>"]}
    facts = {"session": session, "device": device}
    laps = (Lap(1, 0.0, 150.0), Lap(2, 150.0, math.inf))
    columns = {"power_w": np.full(300, 250.0), "speed_mps": np.full(300, 10.0)}
    reading = Reading("csv", NOON, np.arange(300.0), columns, device, laps)
    stored = keep_file(studio_id=session.studio_id, chunks=[recording_to_parquet(reading)])
    whole = RecordingFactory(**facts, filename="whole.csv")
    return [
        recording_read(recording=whole, reading=reading, channels_sha256=stored.sha256, mapping={"mood": "power_w"}),
        RecordingFactory(**facts, filename="torn.csv", state="refused", problem=PROBLEM),
        RecordingFactory(**facts, filename="new.csv"),
    ]


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"


def piece(rider):
    """Wheels of the rider's own that were mounted and tested, with a meter that was checked."""
    item = EquipmentItemFactory(product__studio=rider.studio, rider=rider, serial="<i>7")
    MountingFactory(bike__rider=rider, item=item)
    session = answered(rider, piece=item).session
    session.instruments.add(CalibrationFactory(instrument__studio=rider.studio).instrument)
    return item


@pytest.fixture
def people(owner_ada, fitter_bo, client_cy, shop_dee, outsider_eve):
    return {
        "anonymous": None,
        "shop": shop_dee,
        "client": client_cy,
        "fitter": fitter_bo,
        "owner": owner_ada,
        "outsider": outsider_eve,
    }


# A POST with an id that only the page before it shows, or an answer that is no page; each has its own tests.
NO_PAGES = {
    "sign-out", "session-bundle", "report", "invitation-take-back", "member-remove", "member-password-link",
    "consent-withdraw", "rider-data", "rider-erase", "sign-out-everywhere", "token-revoke",
}  # fmt: skip


def test_no_page_is_left_out_of_the_walk(world):
    """A new address joins the world above, with who may open it."""
    walked = {resolve(address).url_name for address in world}
    assert {pattern.name for pattern in urls.urlpatterns} - walked == NO_PAGES


def opened(world, people, browser):
    """Every address asked for by every role."""
    asked = [(address, role) for address in world for role in people]
    return {(address, role): browser(people[role]).get(address) for address, role in asked}


def refused(world, people, browser):
    """What forms answer that cannot be taken, and the error pages."""
    bo = people["fitter"]
    yield "wrong password", browser().post("/sign-in/", {"username": "bo", "password": "no"})
    yield "no file", browser(bo).post("/upload/", {})
    yield "no recording", browser(bo).post(next(address for address in world if address.endswith("/files/")), {})
    yield "no setup", browser(bo).post(next(address for address in world if address.endswith("/cut/")), {})
    mending = next(address for address in world if address.endswith("/mend/"))
    yield "late mending", browser(bo).post(mending, {"label": "A", "reason": "x", "runs": ["1"], "seen": "1.9"})
    yield "looked at", browser(bo).post(mending, looked_at(browser(bo).get(mending)))
    yield "no reason", browser(bo).post(next(a for a in world if a.startswith("/runs/")), {"act": "leave-out"})
    late = {"act": "leave-out", "left_out": "x", "version": "9"}
    yield "late run", browser(bo).post(next(a for a in world if a.startswith("/runs/")), late)
    yield "not sure", browser(bo).post(next(a for a in world if a.endswith("/delete/")), {})
    yield "bad new password", browser(bo).post("/account/", {"old_password": "x", "new_password1": "y"})
    file = SimpleUploadedFile("<b>.csv", b"category,name,list_price\nhelmet,<i>Orlo,-1\n")
    yield "no instrument", browser(bo).post("/instruments/", {})
    yield "no check", browser(bo).post(next(a for a in world if a.startswith("/instruments/") and len(a) > 14), {})
    yield "not mounted", browser(bo).post(next(a for a in world if a.endswith("/mount/")), {})
    yield "refused stock", browser(bo).post("/equipment/stock/", {"file": file})
    yield "no such address", browser(bo).get("/nowhere/")
    yield "bad cursor", browser(bo).get("/sessions/?before=yesterday")
    yield "form too old", browser(enforce_csrf_checks=True).post("/sign-in/", {})
    yield "fault", HttpResponse(get_template("500.html").render(), status=500)


def looked_at(response):
    """A mending by what the form says of its runs."""
    page = Page(response.content.decode())
    seen = next(one["value"] for one in page.all("input") if one.get("name") == "seen")
    runs = [one["value"] for one in page.all("input") if one.get("name") == "runs"]
    return {"label": "A", "reason": "x", "runs": runs, "seen": seen, "bottles": "2"}


def faults_of(page):
    """Everything about a page's markup that breaks a promise."""
    ids = page.values("id")
    labelled = {label.get("for") for label in page.all("label")}
    inputs = [one for one in page.all("input", "select", "textarea") if one.get("type") != "hidden"]
    named = [i for key in ("aria-labelledby", "aria-describedby") for value in page.values(key) for i in value.split()]
    yield from (f"id twice: {one}" for one in ids if ids.count(one) > 1)
    yield from (f"no label: {one}" for one in inputs if one.get("id") not in labelled)
    yield from (f"names no id: {one}" for one in named if one not in ids)
    yield from (f"static file missing: {one}" for one in missing_files(page))
    if len(page.all("h1")) != 1:
        yield f"{len(page.all('h1'))} headings of the first order"
    if "content" not in ids or "#content" not in page.links():
        yield "no way past the top"
    if [one.get("lang") for one in page.all("html")] != ["en-GB"]:
        yield "no language"


def missing_files(page):
    files = [value for key in ("href", "src") for value in page.values(key) if value.startswith("/static/")]
    return [file for file in files if finders.find(file.removeprefix("/static/")) is None]


def inline_of(page):
    """Scripts and styles that a strict policy would block."""
    yield from (f"style attribute: {value}" for value in page.values("style"))
    yield from ("style element" for _ in page.all("style"))
    yield from ("inline script" for script in page.all("script") if not script.get("src"))
    yield from (f"{key} on {tag}" for tag, attributes in page.elements for key in attributes if key.startswith("on"))
    yield from (link for link in page.links() if re.match(r"\s*(javascript|data):", link, re.IGNORECASE))


def test_each_role_opens_its_pages_and_no_other_and_all_are_sound_markup_with_nothing_inline(world, people, browser):
    """A screen reader can follow each; one walk, as every page takes its time."""
    answers = opened(world, people, browser)
    given = {asked: response.status_code for asked, response in answers.items()}
    assert given == {(address, role): status for address, roles in world.items() for role, status in roles.items()}
    shown = {f"{role} {address}": response for (address, role), response in answers.items()}
    shown = {name: response for name, response in shown.items() if response.status_code != 302}
    pages = {name: Page(r.content.decode()) for name, r in (shown | dict(refused(world, people, browser))).items()}
    found = {name: [*inline_of(page), *faults_of(page)] for name, page in pages.items()}
    assert {name: faults for name, faults in found.items() if faults} == {}
    assert len(found) > 40  # the walk really walked


def test_every_page_has_the_strict_policy_and_stays_out_of_caches(world, people, browser):
    for address in world:
        response = browser(people["fitter"]).get(address)
        policy = response.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert response.headers["X-Frame-Options"] == "DENY"
        assert response.status_code != 200 or "no-store" in response.headers["Cache-Control"], address


def test_text_of_others_is_never_markup(world, people, page):
    refused = next(address for address in reversed(world) if "/jobs/" in address and len(address) > 8)
    seen = page(people["fitter"], refused)
    assert "<b>.csv" in seen.text
    assert "b" not in [tag for tag, _ in seen.elements]


@pytest.mark.django_db
def test_an_account_of_no_studio_is_told_whom_to_ask(browser, django_user_model):
    stray = django_user_model.objects.create_user("stray")
    response = browser(stray).get("/sessions/")
    assert response.status_code == 403
    assert "Ask the owner of your studio" in Page(response.content.decode()).text


def test_forms_without_the_safety_mark_are_refused(world, people, browser, analysis):
    addresses = [
        "/equipment/stock/",
        "/instruments/",
        "/sign-out/",
        "/upload/",
        "/account/",
        f"/results/{analysis.pk}/report/",
    ]
    addresses += [f"/sessions/{analysis.session_id}/accept/", f"/runs/{analysis.session.runs.get(number=1).pk}/"]
    addresses += [address for address in world if address.endswith(("/mend/", "/delete/", "/undo/"))]
    addresses += ["/people/", f"/riders/{analysis.session.rider_id}/consents/", "/account/sign-out-everywhere/"]
    addresses += [f"/sessions/{analysis.session_id}/analyse/", f"/account/tokens/{analysis.pk}/revoke/"]
    client = browser(people["fitter"], enforce_csrf_checks=True)
    assert [client.post(address, {"bundle": "x"}).status_code for address in addresses] == [403] * len(addresses)


def test_an_invalid_result_says_no_verdict_first(rider_cy, client_cy, page):
    seen = page(client_cy, f"/results/{answered(rider_cy, 'invalid').pk}/")
    assert seen.text.index("gives no answer") < seen.text.index("No verdict.")
    assert NO_PATH.what.capitalize() in seen.text

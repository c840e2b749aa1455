"""The owner's page of who did what."""

from studio.records.models import EventDetail
from studio.records.services.events import note_event
from studio.records.services.instruments import instrument_create, instrument_update
from studio.web.turning import ROWS_PER_PAGE
from tests.factories import FieldSessionFactory, InstrumentFactory, UserFactory


def scale_of(studio, by):
    return instrument_create(studio=studio, by=by, name="scale", kind="scale", serial="S-1")


def test_an_act_is_told_with_who_what_and_what_was_said(studio, owner_ada, fitter_bo, page):
    scale = scale_of(studio, fitter_bo)
    instrument_update(record=scale, by=owner_ada, version=scale.version, changes={"serial": "S-2"})
    seen = page(owner_ada, "/trail/")
    assert f"{fitter_bo.username} made instrument" in seen.text
    assert f"{owner_ada.username} changed instrument fields: serial" in seen.text
    assert seen.text.index("changed instrument") < seen.text.index("made instrument")
    assert f"/instruments/{scale.pk}/" in seen.links()


def test_what_is_gone_has_no_link_and_who_is_gone_no_name(studio, owner_ada, page):
    leaver = UserFactory()
    gone = FieldSessionFactory(studio=studio)
    note_event(studio=studio, by=leaver, verb="deleted", record=gone)
    note_event(studio=studio, by=None, verb="analysed", record=gone)
    gone.delete()
    leaver.delete()
    seen = page(owner_ada, "/trail/")
    assert "an account that is gone deleted session" in seen.text
    assert "the studio itself analysed session" in seen.text
    assert f"/sessions/{gone.pk}/" not in seen.links()


def test_words_that_erasure_emptied_are_gone(studio, owner_ada, page):
    event = note_event(studio=studio, by=owner_ada, verb="mended", record=studio, detail={"reason": "knee pain"})
    assert "reason: knee pain" in page(owner_ada, "/trail/").text
    EventDetail.objects.filter(event=event).update(text={}, salt="", address="")
    seen = page(owner_ada, "/trail/").text
    assert ("knee pain" in seen, "mended studio" in seen) == (False, True)


def test_another_studio_reads_nothing_of_it(studio, owner_ada, outsider_eve, page):
    scale_of(studio, owner_ada)
    outsider_eve.membership.role = "owner"
    outsider_eve.membership.save()
    assert "made instrument" not in page(outsider_eve, "/trail/").text


def test_it_turns_pages_and_asks_no_more_for_many_acts(studio, owner_ada, browser, page, django_assert_num_queries):
    ada, scales = browser(owner_ada), InstrumentFactory.create_batch(2 * ROWS_PER_PAGE, studio=studio)
    note_event(studio=studio, by=owner_ada, verb="made", record=scales[0])
    with django_assert_num_queries(7):
        ada.get("/trail/")
    for scale in scales:
        note_event(studio=studio, by=owner_ada, verb="made", record=scale)
    with django_assert_num_queries(7):
        first = ada.get("/trail/")
    (older,) = [link for link in page(owner_ada, "/trail/").links() if "before=" in link]
    assert first.content.count(b"<time") == ROWS_PER_PAGE
    assert page(owner_ada, f"/trail/{older}").text.count("made instrument") == ROWS_PER_PAGE

"""The list of sessions."""

import pytest

from studio.web.turning import ROWS_PER_PAGE
from tests.factories import FieldSessionFactory, JobFactory
from tests.studio.web.days import answered
from tests.studio.web.stories import COMPARISONS


def test_an_empty_studio_is_taught_how_to_begin(fitter_bo, page):
    seen = page(fitter_bo, "/sessions/")
    assert "how to bring in the first" in seen.text
    assert "/upload/" in seen.links()


def test_a_client_without_sessions_is_told_whom_to_ask(client_cy, page):
    seen = page(client_cy, "/sessions/")
    assert "ask your fitter" in seen.text
    assert "/upload/" not in seen.links()


@pytest.mark.parametrize(
    ("verdict", "line"),
    [
        ("faster", "Faster: setup\u00a0B against setup\u00a0A (wheels), 3.4\u00a0W less at 40 km/h."),
        ("slower", "Slower: setup\u00a0B against setup\u00a0A (wheels), 3.4\u00a0W more at 40 km/h."),
        ("equivalent", "Equal for practical purposes: setup\u00a0B against setup\u00a0A (wheels)."),
        ("undecided", "Not decided: setup\u00a0B against setup\u00a0A (wheels)."),
        ("invalid", "No answer: setup\u00a0B against setup\u00a0A (wheels)."),
    ],
)
def test_a_session_is_listed_with_its_answer(verdict, line, rider_cy, fitter_bo, page):
    analysis = answered(rider_cy, verdict)
    seen = page(fitter_bo, "/sessions/")
    assert any(word.strip() == line for word in seen.words)
    assert f"/results/{analysis.pk}/" in seen.links()


def test_a_session_without_an_answer_leads_to_its_records(bare_day, fitter_bo, page):
    seen = page(fitter_bo, "/sessions/")
    assert "Not analysed yet." in seen.text
    assert f"/sessions/{bare_day.pk}/" in seen.links()


def test_only_the_newest_analysis_speaks(rider_cy, fitter_bo, page):
    old = answered(rider_cy, "faster")
    newer = type(old).objects.create(
        studio=old.studio,
        session=old.session,
        number=2,
        inputs_sha256="1" * 64,
        engine_version="1",
        result=answered(rider_cy, "undecided").result,
        supersedes=old,
    )
    links = page(fitter_bo, "/sessions/").links()
    assert f"/results/{newer.pk}/" in links
    assert f"/results/{old.pk}/" not in links


def test_a_client_sees_only_their_own_sessions(analysis, studio, client_cy, page):
    FieldSessionFactory(rider__studio=studio, title="of another rider")
    seen = page(client_cy, "/sessions/")
    assert "two wheels" in seen.text
    assert "of another rider" not in seen.text


def test_another_studio_sees_nothing(analysis, outsider_eve, page):
    assert "two wheels" not in page(outsider_eve, "/sessions/").text


def test_jobs_at_work_are_told_to_staff_only(studio, analysis, fitter_bo, client_cy, page):
    JobFactory(studio=studio)
    assert "1 job at work" in page(fitter_bo, "/sessions/").text
    assert "at work" not in page(client_cy, "/sessions/").text


def test_the_list_turns_its_pages_without_losing_or_doubling_a_row(studio, fitter_bo, page):
    titles = [f"day {number:02d}" for number in range(ROWS_PER_PAGE + 3)]
    for title in titles:
        FieldSessionFactory(rider__studio=studio, title=title)
    first = page(fitter_bo, "/sessions/")
    older = next(link for link in first.links() if link.startswith("?before="))
    second = page(fitter_bo, f"/sessions/{older}")
    shown = [word for seen in (first, second) for word in seen.words if word.startswith("day ")]
    assert shown == titles[::-1]
    assert not any(link.startswith("?before=") for link in second.links())


def test_past_the_end_there_is_a_way_back(bare_day, fitter_bo, page):
    assert "nothing further" in page(fitter_bo, f"/sessions/?before={bare_day.pk}").text


def test_a_cursor_that_is_no_id_is_a_bad_request(fitter_bo, browser):
    assert browser(fitter_bo).get("/sessions/?before=first").status_code == 400


@pytest.mark.parametrize("verdicts", [["faster"] * 2, [*COMPARISONS] * 4], ids=["2 rows", "20 rows"])
def test_the_list_costs_the_same_queries_for_few_and_many(
    verdicts, rider_cy, fitter_bo, browser, django_assert_num_queries
):
    for verdict in verdicts:
        answered(rider_cy, verdict)
    client = browser(fitter_bo)
    with django_assert_num_queries(6):  # browser session, user, membership, sessions, answers, jobs at work
        client.get("/sessions/")

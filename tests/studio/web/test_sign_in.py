"""Signing in and out."""

from tests.factories import PASSWORD
from tests.studio.web.markup import Page


def sign_in(client, username="bo", password=PASSWORD, **more):
    return client.post("/sign-in/", {"username": username, "password": password, **more})


def test_signing_in_leads_to_the_sessions(fitter_bo, browser):
    client = browser()
    assert sign_in(client).url == "/"
    assert client.get("/").url == "/sessions/"


def test_a_shop_is_led_to_the_standings_without_figures(shop_dee, browser, page):
    assert browser(shop_dee).get("/").url == "/standings/"
    assert "no figures yet" in page(shop_dee, "/standings/").text


def test_signing_in_leads_on_to_the_page_that_was_asked_for(fitter_bo, browser):
    assert browser().get("/upload/").url == "/sign-in/?next=/upload/"
    assert sign_in(browser(), next="/upload/").url == "/upload/"


def test_nobody_is_led_to_a_foreign_site(fitter_bo, browser):
    assert sign_in(browser(), next="https://elsewhere.example/").url == "/"


def test_a_wrong_name_and_a_wrong_password_are_answered_alike(fitter_bo, browser):
    answers = [sign_in(browser(), *pair) for pair in (("bo", "wrong"), ("nobody", PASSWORD))]
    texts = [Page(answer.content.decode()).text for answer in answers]
    assert texts[0] == texts[1]
    assert "do not belong together" in texts[0]


def test_signing_out_is_a_post_and_ends_the_visit(fitter_bo, browser):
    client = browser(fitter_bo)
    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/").url == "/sign-in/"
    assert client.get("/sessions/").url == "/sign-in/?next=/sessions/"

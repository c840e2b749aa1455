"""One's own account."""

from datetime import timedelta

from django.utils import timezone

from studio.records.services.tokens import token_create, token_in_force
from tests.factories import PASSWORD, ApiTokenFactory

NEW = "another-long-secret-of-mine"


def change(client, old=PASSWORD, new=NEW, again=NEW):
    return client.post("/account/", {"old_password": old, "new_password1": new, "new_password2": again})


def test_it_says_who_one_is(client_cy, page):
    text = page(client_cy, "/account/").text
    assert "Name cy Studio Leeward Studio Role client" in text


def test_the_password_changes_and_the_visit_goes_on(fitter_bo, browser):
    client = browser()
    client.force_login(fitter_bo)
    assert change(client).url == "/account/"
    fitter_bo.refresh_from_db()
    assert fitter_bo.check_password(NEW)
    assert "The password is changed." in client.get("/account/").content.decode()


def test_a_wrong_old_password_changes_nothing(fitter_bo, browser):
    assert change(browser(fitter_bo), old="guess").status_code == 400
    fitter_bo.refresh_from_db()
    assert fitter_bo.check_password(PASSWORD)


def test_a_token_is_taken_back(fitter_bo, browser):
    token, clear = token_create(user=fitter_bo, name="logger")
    browser(fitter_bo).post(f"/account/tokens/{token.pk}/revoke/")
    assert token_in_force(clear) is None


def test_only_tokens_in_force_and_one_s_own_are_listed(fitter_bo, client_cy, page):
    now = timezone.now()
    ApiTokenFactory(user=fitter_bo, name="in force", expires_at=now + timedelta(days=1))
    ApiTokenFactory(user=fitter_bo, name="over", expires_at=now - timedelta(days=1))
    ApiTokenFactory(user=client_cy, name="of cy", expires_at=now + timedelta(days=1))
    text = page(fitter_bo, "/account/").text
    assert "in force" in text
    assert "over" not in text.split("Tokens for programs")[1].split("Change the password")[0]
    assert "of cy" not in text


def test_nobody_takes_back_the_token_of_another(fitter_bo, client_cy, browser):
    token, clear = token_create(user=client_cy)
    assert browser(fitter_bo).post(f"/account/tokens/{token.pk}/revoke/").status_code == 404
    assert token_in_force(clear) == token

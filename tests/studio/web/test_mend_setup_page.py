"""A setup that was entered wrong, mended by its page: looked at side by side, written, and told where two did it."""

import pytest

from studio.records.models import Run, Setup
from tests.factories import EquipmentItemFactory, ProductFactory, RunFactory
from tests.studio.web.markup import Page


@pytest.fixture
def bare_day(bare_day):
    """Runs taken away while the masses are written, since the database freezes a setup that was ridden."""
    runs = list(Run.objects.filter(session=bare_day).order_by("number").select_related("setup"))
    Run.objects.filter(session=bare_day).delete()
    Setup.objects.filter(bike=bare_day.bike).update(system_mass_kg=82.0, clothing="skin suit")
    for run in runs:
        RunFactory(session=bare_day, number=run.number, setup=run.setup, recording=None)
    return bare_day


@pytest.fixture
def bo(fitter_bo, browser):
    return browser(fitter_bo)


def setup_of(session, label):
    return session.setup_links.get(setup__label=label).setup


def path_of(session, label="A"):
    return f"/sessions/{session.pk}/setups/{setup_of(session, label).pk}/mend/"


def seen(response, status=200):
    assert response.status_code == status, response.content.decode()
    return Page(response.content.decode())


def fields_of(page):
    """What the form would send as it stands."""
    sent = {}
    for one in page.all("input"):
        name, value = one.get("name"), one.get("value") or ""
        if one.get("type") == "checkbox":
            if "checked" in one:
                sent.setdefault(name, []).append(value)
        elif name and name != "csrfmiddlewaretoken":
            sent[name] = value
    return sent | chosen_of(page)


def chosen_of(page):
    chosen, name = {}, None
    for tag, attributes in page.elements:
        if tag == "select":
            name = attributes["name"]
            chosen[name] = ""
        if tag == "option" and "selected" in attributes:
            chosen[name] = attributes["value"]
    return chosen


def looked_at(page):
    """What the button of the side-by-side view sends: the hidden values of its own form, up to the button."""
    at = next(i for i, (tag, one) in enumerate(page.elements) if tag == "button" and one.get("value") == "mend")
    start = max(i for i, (tag, _) in enumerate(page.elements[:at]) if tag == "form")
    sent = {}
    for tag, one in page.elements[start:at]:
        if tag == "input" and one["name"] != "csrfmiddlewaretoken":
            sent.setdefault(one["name"], []).append(one["value"])
    return sent


def form_of(client, path):
    return fields_of(seen(client.get(path)))


def mend(client, path, form, **typed):
    return client.post(path, {**form, "reason": "gravel under the scale", "act": "mend", **typed})


def test_the_session_page_leads_to_each_setup_that_was_ridden(bare_day, fitter_bo, page):
    links = page(fitter_bo, f"/sessions/{bare_day.pk}/").links()
    assert {path_of(bare_day, label) for label in "AB"} <= set(links)


def test_both_are_looked_at_before_anything_is_written(bo, bare_day):
    path = path_of(bare_day)
    looked = seen(mend(bo, path, form_of(bo, path), system_mass_kg="83.4", act="look"))
    assert "system mass (kg) (differs) 82 83.4" in looked.text
    assert "Moving to the new setup: runs 1, 4, 5, 8." in looked.text
    assert Setup.objects.filter(bike=bare_day.bike).count() == 2
    assert bo.post(path, {**looked_at(looked), "act": "mend"}).status_code == 302
    assert bare_day.runs.get(number=8).setup.system_mass_kg == 83.4


def test_the_runs_move_and_both_setups_stand_side_by_side_after(bo, bare_day):
    path, old = path_of(bare_day), setup_of(bare_day, "A")
    answer = mend(bo, path, form_of(bo, path), system_mass_kg="83.4")
    text = seen(bo.get(answer.url)).text
    assert answer.url == f"/sessions/{bare_day.pk}/corrections/"
    assert "gravel under the scale Moved to the mended setup: runs 1, 4, 5, 8." in text
    assert "system mass (kg) (differs) 82 83.4" in text
    new = setup_of(bare_day, "A")
    assert (new != old, new.system_mass_kg, new.clothing) == (True, 83.4, "skin suit")
    assert new.slots.get().item == old.slots.get().item
    assert bare_day.setup_links.get(setup=new).reference


def test_a_wrong_tyre_and_a_pressure_are_mended(bo, bare_day):
    tyre = EquipmentItemFactory(product__studio=bare_day.studio, product__category="tyres", product__name="Selk 28")
    path = path_of(bare_day)
    mend(bo, path, form_of(bo, path), slot_tyres=str(tyre.pk), pressure_rear="540")
    new = setup_of(bare_day, "A")
    assert new.slots.get(slot="tyres").item == tyre
    assert new.tyre_pressure_kpa == {"front": 520, "rear": 540.0}


def test_a_product_of_which_no_piece_is_entered_yet_can_be_the_right_tyre(bo, browser, owner_ada, bare_day):
    tyre = ProductFactory(studio=bare_day.studio, category="tyres", name="Selk 28")
    path, theirs = path_of(bare_day), browser(owner_ada)
    form = form_of(bo, path) | {"slot_tyres": f"product {tyre.pk}"}
    assert "tyres (differs) not noted Selk 28" in seen(mend(bo, path, form, act="look")).text
    assert not tyre.items.exists()
    mend(theirs, path, form)
    assert setup_of(bare_day, "A").slots.get(slot="tyres").item == tyre.items.get()
    late = seen(mend(bo, path, form, bottles="1"), 412)  # the same tyre: the piece that is entered now
    assert fields_of(late)["slot_tyres"] == str(tyre.items.get().pk)


def test_some_runs_move_under_a_label_of_their_own(bo, bare_day):
    path = path_of(bare_day)
    form = form_of(bo, path) | {"runs": ["8"], "system_mass_kg": "83.4"}
    assert "a second setup A" in seen(mend(bo, path, form), 422).text
    assert mend(bo, path, form, label="A2").status_code == 302
    assert [run.setup.label for run in bare_day.runs.order_by("number")] == list("ABBAABB") + ["A2"]


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"system_mass_kg": "heavy"}, "Enter a number"),
        ({"reason": ""}, "This field is required"),
        ({"runs": []}, "This field is required"),
        ({"runs": ["2"]}, "not one of the available choices"),
        ({"slot_tyres": "01a2140b-83e1-7afb-b93f-8b965a8a9ee7"}, "not one of the available choices"),
        ({}, "Nothing is put right"),
        ({"system_mass_kg": "4000"}, "system_mass_kg: found 4000.0; allowed:"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_written(bo, bare_day, typed, told):
    path = path_of(bare_day)
    assert told in seen(mend(bo, path, form_of(bo, path), **typed), 422).text
    assert Setup.objects.filter(bike=bare_day.bike).count() == 2


def test_two_who_mend_the_same_setup_are_both_shown(bo, browser, owner_ada, bare_day):
    path = path_of(bare_day)
    form = form_of(bo, path)
    mend(browser(owner_ada), path, form, system_mass_kg="83.4", clothing="long sleeves")
    page = seen(mend(bo, path, form, system_mass_kg="84", bottles="1"), 412)
    assert "system mass (kg) 83.4 84" in page.text
    assert "clothing long sleeves as it was" in page.text
    assert "bottles not noted 1" in page.text
    assert bare_day.runs.get(number=1).setup.system_mass_kg == 83.4
    typed = fields_of(page)
    assert (typed["system_mass_kg"], typed["clothing"], typed["bottles"]) == ("84", "long sleeves", "1")
    assert typed["reason"] == "gravel under the scale"
    assert path_of(bare_day) in page.forms()  # theirs is what is mended now
    assert bo.post(path_of(bare_day), {**typed, "act": "mend"}).status_code == 302
    now = setup_of(bare_day, "A")
    assert (now.system_mass_kg, now.clothing, now.bottles) == (84.0, "long sleeves", 1)


def test_a_run_that_somebody_gave_another_setup_meanwhile_is_told(bo, bare_day):
    path = path_of(bare_day)
    form = form_of(bo, path)
    bo.post(
        f"/runs/{bare_day.runs.get(number=4).pk}/",
        {"act": "reassign", "version": 1, "setup": setup_of(bare_day, "B").pk},
    )
    page = seen(mend(bo, path, form, system_mass_kg="84"), 412)
    assert "setup of run 4 B A, mended" in page.text
    assert fields_of(page)["runs"] == ["1", "5", "8"]
    assert bare_day.runs.get(number=1).setup.system_mass_kg == 82.0


def test_a_form_that_says_no_version_writes_nothing(bo, bare_day):
    path = path_of(bare_day)
    form = form_of(bo, path)
    for version in ("", "1.x", "1.1 4." + "9" * 30):
        assert mend(bo, path, {**form, "seen": version}, system_mass_kg="84").status_code in (412, 422)
    assert Setup.objects.filter(bike=bare_day.bike).count() == 2


def test_a_setup_without_a_run_has_nothing_to_mend(bo, bare_day):
    path = path_of(bare_day)
    Run.objects.filter(session=bare_day, setup__label="A").delete()
    answer = bo.get(path)
    assert "there is nothing to mend" in seen(bo.get(answer.url)).text


def test_a_client_and_an_outsider_mend_nothing(bare_day, client_cy, outsider_eve, browser, page):
    path = path_of(bare_day)
    assert path not in page(client_cy, f"/sessions/{bare_day.pk}/").links()
    assert [mend(browser(who), path, {}).status_code for who in (client_cy, outsider_eve)] == [403, 404]
    assert Setup.objects.filter(bike=bare_day.bike).count() == 2

"""The shop's question: what a row is worth, which ranges may be asked, and the ways in which it comes."""

import csv
import io
import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from django.utils import timezone

from analysis.results.models import Standings
from tests.factories import ConsentFactory, ContributorKeyFactory, ProductFactory, StandingsFactory
from tests.standing_figures import FIGURES

SCHEMA = Path(__file__).parents[2] / "references" / "schemas" / "standings-1.schema.json"
CATALOGUE = (("Tarn 40", "890.00", 0.0), ("=Tarn 80", "1240.00", -0.005), ("Vaskel Deep", None, 0.002))


@pytest.fixture
def consent(studio):
    return ConsentFactory(rider__studio=studio, purpose="pooled_results")


@pytest.fixture
def catalogue(studio, consent):
    """Three products with figures, one withheld, one that nobody tested."""
    priced = [
        ProductFactory(studio=studio, name=name, list_price=price, currency="EUR" if price else "")
        for name, price, _ in CATALOGUE
    ]
    told = {"p_best": 0.3, "score": 0.5, "riders": 12, "studies": 14, "component": 1, "median_cda_m2": 0.24}
    rows = [
        {"product": str(product.pk), "effect_m2": effect, **told, "withheld": None}
        for product, (_, _, effect) in zip(priced, CATALOGUE, strict=True)
    ]
    hidden = ProductFactory(studio=studio, name="Hidden")
    ProductFactory(studio=studio, name="Untested")
    StandingsFactory(
        edition__studio=studio,
        edition__number=4,
        category="wheels",
        figures=FIGURES,
        products=[*rows, {"product": str(hidden.pk), "withheld": "two riders tested it"}],
        covariance=np.array([0.0, 0.0, 1e-6, 0.0, 0.0, 1e-6]).tobytes(),
        contributors=np.array([ContributorKeyFactory(rider=consent.rider).key], np.int64).tobytes(),
    )
    return {product.name: product for product in priced}


@pytest.fixture
def ask(api, shop_dee, catalogue):
    client = api(shop_dee)

    def asked(headers=None, **query):
        question = {"category": "wheels", "reference": str(catalogue["Tarn 40"].pk), **query}
        return client.get("/api/v1/standings/", question, **headers or {})

    return asked


def rows(answer):
    assert answer.status_code == 200, answer.content
    return {row["product"]: row for row in answer.json()["products"]}


def test_the_answer_is_the_published_document_and_names_its_edition_and_what_it_assumed(ask):
    document = ask().json()
    jsonschema.validate(document, json.loads(SCHEMA.read_text()))
    assert document["edition"]["number"] == 4
    assert document["reference"] == "Tarn 40"
    stated = {"density_kg_m3": 1.2, "drivetrain_efficiency": 0.975, "crr": 0.004, "system_mass_kg": 80.0}
    assert document["assumed"].items() >= (stated | {"reference_cda_m2": 0.24}).items()


def test_watts_seconds_and_watts_for_the_money_by_hand(ask):
    """1/2 rho v^3 dCdA / eta: by hand -4.221 W at 40 km/h. Seconds: steady speeds of the cubic by numpy's roots."""
    row = rows(ask(speed_kmh=40, distance_km=40, power_w=250))["=Tarn 80"]
    watts = 0.5 * 1.2 * (40 / 3.6) ** 3 * -0.005 / 0.975
    assert row["delta_w"] == pytest.approx(watts)
    assert row["ci95_w"] == pytest.approx([watts * 7 / 5, watts * 3 / 5])
    assert row["watts_per_100"] == pytest.approx(-watts / 12.4)
    times = [40_000 / speed(250, cda_m2) for cda_m2 in (0.24, 0.235)]
    assert row["delta_s"] == pytest.approx(times[1] - times[0], abs=1e-3)


def speed(power_w, cda_m2):
    """The real root of 1/2 rho CdA v^3 + Crr m g v = eta P."""
    roots = np.roots([0.5 * 1.2 * cda_m2, 0.0, 0.004 * 80 * 9.80665, -0.975 * power_w])
    return float(roots[np.abs(roots.imag) < 1e-9].real[0])


def test_what_is_withheld_or_untested_has_no_figure_and_says_why(ask):
    found = rows(ask())
    for name, reason in (("Hidden", "two riders tested it"), ("Untested", "nobody has tested it in this stratum")):
        row = found[name]
        assert row["withheld"] == reason
        figures = set(row) - {"product", "id", "price", "currency", "withheld"}
        assert {key: row[key] for key in figures} == dict.fromkeys(figures)


def test_counts_and_slopes_stand_beside_the_figures_that_they_were_made_for(ask, catalogue):
    """Against another product than the first they are not told: they would be another count."""
    slope = {"moderator": "yaw", "unit": "deg", "step": 5.0, "slope_m2": 0.001, "ci95_m2": [0.0, 0.002], "riders": 11}
    row = Standings.objects.get()
    row.products[1] |= {"faster_riders": 9, "counted_riders": 12, "slopes": [slope | {"withheld": None}]}
    row.save()
    told = rows(ask())["=Tarn 80"]
    assert (told["faster_riders"], told["counted_riders"], told["slopes"][0]["slope_m2"]) == (9, 12, 0.001)
    other = rows(ask(reference=str(catalogue["Vaskel Deep"].pk)))["=Tarn 80"]
    assert (other["faster_riders"], other["counted_riders"], other["slopes"]) == (None, None, None)


def test_price_and_currency_only_select_rows(ask):
    everything, cheap = rows(ask()), rows(ask(max_price=1000, currency="eur"))
    assert list(cheap) == ["Tarn 40"]
    assert cheap["Tarn 40"] == everything["Tarn 40"]
    assert rows(ask(currency="USD")).keys() == {"Vaskel Deep", "Hidden", "Untested"}


@pytest.mark.parametrize(
    ("key", "value", "allowed"),
    [
        ("bike_kind", "gravel", "road, time trial, track, other"),
        ("height", "170-180", "under-170, 170-185, over-185"),
        ("yaw", "0-10", "0-5, 5-10, over-10"),
        ("speed_kmh", "nan", "5 to 100"),
        ("power_w", "1e9", "20 to 2000"),
        ("distance_km", "far", "0.1 to 1000"),
        ("max_price", "100", "currency of max_price"),
        ("currency", "EURO", "three letters"),
        ("currency", "\N{LATIN CAPITAL LETTER A WITH DIAERESIS}UR", "three letters"),
        ("speed_kmh", "4_0", "5 to 100"),
        ("speed_kmh", "\N{ARABIC-INDIC DIGIT FOUR}0", "5 to 100"),
        ("category", "wheels\0", "a category of the catalogue"),
        ("reference", "Tarn", "id of a product"),
        ("reference", "01a212e5-49a3-73d6-8323-b4747022e135", "a product of the category"),
    ],
)
def test_another_range_is_422_and_the_allowed_ones_are_named(ask, key, value, allowed):
    answer = ask(**{key: value})
    assert answer.status_code == 422
    assert allowed in answer.json()["errors"][0]["allowed"]


def test_an_empty_category_is_well_formed_and_cannot_be_asked(api, shop_dee):
    """The document allows any text there, so that it is no fault of shape."""
    answer = api(shop_dee).get("/api/v1/standings/?category=")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["key"] == "category"


@pytest.mark.parametrize("query", ["", "category=wheels&format=xml", "category=wheels&rider=1"])
def test_a_question_of_another_shape_is_400(api, shop_dee, query):
    assert api(shop_dee).get(f"/api/v1/standings/?{query}").status_code == 400


@pytest.mark.parametrize("by", [{"format": "csv"}, {"headers": {"HTTP_ACCEPT": "text/csv"}}])
def test_a_table_comes_by_format_or_accept_and_runs_no_formula(ask, by):
    answer = ask(**by)
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    found = {row["product"]: row for row in csv.DictReader(io.StringIO(answer.content.decode()))}
    assert found.keys() == {"Tarn 40", "'=Tarn 80", "Vaskel Deep", "Hidden", "Untested"}
    assert float(found["'=Tarn 80"]["effect_m2"]) == -0.005
    assert (found["Tarn 40"]["edition"], found["Tarn 40"]["density_kg_m3"]) == ("4", "1.2")


@pytest.mark.parametrize(
    ("accepted", "kind"),
    [
        ("application/json;q=0.1, text/csv", "text/csv; charset=utf-8"),
        ("text/csv;q=0.1, */*", "application/json"),
        ("text/csv;q=0, text/*;q=0.5, application/json;q=0.2", "application/json"),
        ("text/html, text/csv;q=0.4", "text/csv; charset=utf-8"),
        ("text/csv, */*", "text/csv; charset=utf-8"),
        ("*/*;q=0.3", "application/json"),
    ],
)
def test_what_is_liked_better_comes(ask, accepted, kind):
    """RFC 9110, section 12.5.1: the most special range has the last word."""
    assert ask(headers={"HTTP_ACCEPT": accepted})["Content-Type"] == kind


@pytest.mark.parametrize("accepted", ["text/html", "text/csv;q=0, application/json;q=0.0"])
def test_what_nobody_accepts_is_406(ask, accepted):
    assert ask(headers={"HTTP_ACCEPT": accepted}).status_code == 406


def test_an_answer_stands_until_something_changes_and_then_has_another_tag(ask, consent):
    first = ask()
    assert ask(headers={"HTTP_IF_NONE_MATCH": first["ETag"]}).status_code == 304
    assert ask(format="csv")["ETag"] != first["ETag"]
    consent.withdrawn_at = timezone.now()
    consent.save()
    again = ask(headers={"HTTP_IF_NONE_MATCH": first["ETag"]})
    assert again.status_code == 200
    assert {row["effect_m2"] for row in again.json()["products"]} == {None}


def test_another_studios_figures_are_not_in_it(api, outsider_eve, catalogue):
    answer = api(outsider_eve).get("/api/v1/standings/?category=wheels").json()
    assert (answer["edition"], answer["products"]) == (None, [])


def test_it_costs_the_same_queries_for_few_products_and_many(ask, studio, django_assert_max_num_queries):
    ask()
    for at in range(60):
        ProductFactory(studio=studio, name=f"another {at}")
    with django_assert_max_num_queries(6):
        ask()

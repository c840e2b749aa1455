"""Products, prices and stock out of a file: what a dry run says is what the import does, whole or not at all."""

import pytest

from studio.records.errors import Conflict, Unusable
from studio.records.models import EquipmentItem, Event, Product
from studio.records.selectors.stock import stock_lines
from studio.records.services.stock import stock_import, stock_rehearse
from studio.records.stock_file import MOST_LINES, write_stock
from tests.factories import EquipmentItemFactory, ProductFactory, StudioFactory

FILE = """category,name,maker,list_price,currency,serial,size,pieces
helmet,Orlo Tail,Ilmer,289.00,EUR,,,
suit,Ribbed,,,,S-1,M,
suit,Ribbed,,,,,L,3
"""


@pytest.fixture
def bring(studio, fitter_bo):
    def brought(text, work=stock_import, **more):
        content = text if isinstance(text, bytes) else text.encode()
        return work(studio=studio, by=fitter_bo, filename="stock.csv", content=content, **more)

    return brought


def told(outcome):
    return [(line.line, line.does) for line in outcome.lines]


def state():
    rows = Product.objects.order_by("pk").values_list(), EquipmentItem.objects.order_by("pk").values_list()
    return [list(each) for each in rows], Event.objects.count()


def test_the_dry_run_says_what_the_import_does_and_leaves_nothing(bring):
    before = state()
    rehearsed = bring(FILE, stock_rehearse)
    assert state() == before
    assert told(rehearsed) == [(2, "new"), (3, "new"), (4, "changed")]
    assert bring(FILE, seen=rehearsed.seen) == rehearsed
    assert str(Product.objects.get(name="Orlo Tail").list_price) == "289.00"
    assert sorted(EquipmentItem.objects.values_list("serial", "size")) == [("", "L")] * 3 + [("S-1", "M")]


def test_the_same_file_twice_changes_nothing(bring):
    bring(FILE)
    before = state()
    assert {line.does for line in bring(FILE).lines} == {"same"}
    assert state() == before


def test_each_change_is_told_with_both_values(bring):
    bring(FILE)
    (line, *_) = bring(FILE.replace("289.00", "299,5".replace(",", "."))).lines
    assert [(one.key, one.before, one.after) for one in line.changes] == [("list_price", "289.00", "299.5")]


def test_an_empty_cell_empties_and_a_missing_column_leaves(bring, studio):
    ProductFactory(studio=studio, category="helmet", name="Orlo", maker="Ilmer", variant="long")
    bring("category,name,maker\nhelmet,Orlo,\n")
    assert Product.objects.values_list("maker", "variant").get() == ("", "long")


def test_what_is_exported_comes_back_the_same(bring, studio):
    helmet = ProductFactory(studio=studio, category="helmet", name=" =Orlo\n", maker="@Ilmer", mass_kg=1 / 3)
    ProductFactory(studio=studio, category="-suit", name="'=x", list_price="0.10", currency="XYZ", mass_kg=1e-3)
    for _ in range(2):
        EquipmentItemFactory(studio=studio, product=helmet, size="+L", serial="")
    EquipmentItemFactory(studio=studio, product=helmet, serial="=7", retired_on="2026-05-01")
    exported = write_stock(stock_lines(studio))
    assert {line.does for line in bring(exported).lines} == {"same"}
    Product.objects.filter(pk=helmet.pk).update(maker="", mass_kg=None)
    bring(exported)
    assert write_stock(stock_lines(studio)) == exported


def test_no_riders_piece_and_no_other_studio_is_in_the_file(studio, rider_cy):
    EquipmentItemFactory(studio=studio, product__studio=studio, rider=rider_cy, serial="R-7")
    ProductFactory(studio=StudioFactory(), name="Theirs")
    text = write_stock(stock_lines(studio)).decode()
    assert "R-7" not in text
    assert "Theirs" not in text


@pytest.mark.parametrize(
    ("row", "key", "allowed"),
    [
        ("helmet,Orlo,-1,EUR,,", "list_price", "0 or more"),
        ("helmet,Orlo,1.234,EUR,,", "list_price", "2 decimal places"),
        ("helmet,Orlo,1,,,", "list_price", "needs its currency"),
        ("helmet,Orlo,1,eur,,", "currency", "ISO 4217"),
        ("helmet,Orlo,1,EURO,,", "currency", ""),
        ("helmet,Orlo,1,XYZ,,", "currency", "ISO 4217"),
        (f"helmet,{'x' * 201},1,EUR,,", "name", "200"),
        ("suit,Ribbed,,,R-7,", "serial", "a rider's own"),
        ("suit,Ribbed,,,,1", "pieces", "a file takes no piece away"),
    ],
)
def test_a_refused_line_says_why_and_nothing_is_imported(row, key, allowed, bring, studio, rider_cy):
    suit = ProductFactory(studio=studio, category="suit", name="Ribbed")
    EquipmentItemFactory(studio=studio, product=suit, rider=rider_cy, serial="R-7")
    for _ in range(2):
        EquipmentItemFactory(studio=studio, product=suit, serial="", size="")
    before = state()
    text = f"category,name,list_price,currency,serial,pieces\nshoes,Good,1,EUR,,2\n{row}\n"
    found = bring(text, stock_rehearse).faults
    assert {(fault.file, fault.line) for fault in found} == {("stock.csv", 3)}
    assert any(key in fault.key and allowed in fault.allowed for fault in found), found
    with pytest.raises(Unusable, match="1 of 2 lines cannot be used, so nothing was imported"):
        bring(text)
    assert state() == before


def test_a_line_twice_and_a_product_with_two_prices_are_refused(bring):
    head = "category,name,list_price,currency,serial\n"
    twice = bring(head + "helmet,Orlo,1,EUR,7\nhelmet,Orlo,1,EUR,7\n", stock_rehearse)
    assert [fault.given for fault in twice.faults] == ["the same as line 2"]
    prices = bring(head + "helmet,Orlo,1,EUR,7\nhelmet,Orlo,2,EUR,8\n", stock_rehearse)
    assert [(f.line, f.key, f.given, f.allowed) for f in prices.faults] == [(3, "list_price", "2", "1, as in line 2")]


def test_an_import_of_what_was_seen_is_refused_where_the_stock_changed_meanwhile(bring, studio):
    seen = bring(FILE, stock_rehearse).seen
    ProductFactory(studio=studio, category="helmet", name="Orlo Tail", list_price="1.00", currency="EUR")
    before = state()
    with pytest.raises(Conflict, match="changed since the dry run, so nothing was imported"):
        bring(FILE, seen=seen)
    assert state() == before


def test_the_export_takes_two_queries_for_few_and_many(studio, django_assert_num_queries):
    for count in (1, 30):
        EquipmentItemFactory.create_batch(count, studio=studio, product__studio=studio)
        with django_assert_num_queries(2):
            stock_lines(studio)


def test_the_longest_file_is_taken(bring):
    rows = "".join(f"helmet,Orlo {number}\n" for number in range(MOST_LINES))
    assert bring(f"category,name\n{rows}").count("new") == MOST_LINES

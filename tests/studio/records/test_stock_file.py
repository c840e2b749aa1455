"""The stock file by itself: how cells are read, what is refused as a whole, and what a spreadsheet cannot run.

Quoting and line ends are those of RFC 4180; signs that start a formula are OWASP's, CSV injection (from memory).
"""

import csv
import io
from datetime import date
from decimal import Decimal

import pytest

from analysis.readers.faults import Refused
from studio.records.spreadsheet import as_written, harmless
from studio.records.stock_file import MOST_BYTES, MOST_LINES, read_stock, write_stock


def read(text, encoding="utf-8"):
    return read_stock("stock.csv", text.encode(encoding))


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\r=x", "'=x", "''=x", "\uff1dx"])
def test_no_text_starts_a_formula_and_each_comes_back_as_it_was(text):
    assert harmless(text).startswith("'")
    assert as_written(harmless(text)) == text


@pytest.mark.parametrize("text", ["'74 frame", "Orlo =", "", "289.00", "'"])
def test_other_texts_stay_as_they_are(text):
    assert harmless(text) == text == as_written(text)


def test_a_file_of_another_country_is_read():
    line = read("\ufeffcategory;name;list_price;mass_kg;acquired_on\r\nhelmet;Orlo;289,00;0,35;2026-05-09\r\n")[0]
    assert line.product == {"list_price": Decimal("289.00"), "mass_kg": 0.35}
    assert (line.number, line.piece, line.pieces) == (2, {"acquired_on": date(2026, 5, 9)}, 1)


def test_quoted_cells_keep_separators_quotes_and_line_ends():
    written = write_stock([{"category": "helmet", "name": 'Orlo "Tail", long\nand; wide'}])
    line = read_stock("stock.csv", written)[0]
    assert line.name == 'Orlo "Tail", long\nand; wide'
    assert next(csv.DictReader(io.StringIO(written.decode(), newline="")))["name"] == line.name


def test_lines_are_counted_from_where_they_begin():
    assert [line.number for line in read('category,name\n"a\nb",x\n\nhelmet,y\n')] == [2, 5]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no line"),
        (b"category,name\n", "no line below them"),
        (b"category,name,colour\nhelmet,Orlo,red\n", "'colour'; allowed: columns out of"),
        (b"category,name,name\nhelmet,Orlo,Orlo\n", "'name' twice"),
        (b"category\nhelmet\n", "no name"),
        ("category,name\nhelmet,Örlo\n".encode("latin-1"), "stock.csv, line 2, file: found the byte 0xd6"),
        ("category,name\nhelmet,Orlo\n".encode("utf-16"), "not UTF-8"),
        (b"category,name\nhelmet,Or\0lo\n", "NUL"),
        (b'category,name\nhelmet,"Orlo" x\n', "line 2, line: found a line that cannot be parted"),
        (b"category,name\n" + b"helmet,Orlo\n" * (MOST_LINES + 1), f"more than {MOST_LINES} lines"),
        (b"x" * (MOST_BYTES + 1), f"at most {MOST_BYTES}"),
        (b"category,name\nhelmet," + b"x" * 200_000, "cannot be parted"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(content, words):
    with pytest.raises(Refused) as refusal:
        read_stock("stock.csv", content)
    assert words in str(refusal.value)


@pytest.mark.parametrize(
    ("column", "cell", "allowed"),
    [
        ("list_price", "1.289,00", "without a sign for thousands"),
        ("list_price", "NaN", "a price such as"),
        ("mass_kg", "350 g", "kilograms"),
        ("acquired_on", "09.05.2026", "2026-05-09"),
        ("retired_on", "2026-02-30", "2026-05-09"),
        ("pieces", "2.5", "a whole number"),
        ("pieces", "201", "a whole number"),
        ("name", " ", "the product's name"),
    ],
)
def test_a_cell_that_cannot_be_read_is_a_fault_of_its_line(column, cell, allowed):
    extra = "" if column == "name" else f";{column}"
    row = f"helmet;{cell}" if column == "name" else f"helmet;Orlo;{cell}"
    (fault,) = read(f"category;name{extra}\n{row}\n")[0].faults
    assert (fault.file, fault.line, fault.key) == ("stock.csv", 2, column)
    assert allowed in fault.allowed


@pytest.mark.parametrize("row", ["helmet,Orlo,7,2", "helmet,Orlo,7,0", "helmet,Orlo,7"])
def test_a_serial_is_of_one_piece_and_a_line_has_all_its_cells(row):
    lines = read(f"category,name,serial,pieces\n{row}\n")
    assert len(lines[0].faults) == 1

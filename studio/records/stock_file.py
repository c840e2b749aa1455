"""The CSV file of products, prices and stock: its columns, how a cell is read, and how it is written.

What a line does to the records is `services/stock.py`. Written and read back, every value is the same.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from analysis.readers.faults import Fault, Refused, shown
from studio.records.spreadsheet import as_written, harmless

KEYS = ("category", "name")
PRODUCT_COLUMNS = ("maker", "variant", "list_price", "currency", "mass_kg")
PIECE_COLUMNS = ("serial", "size", "acquired_on", "retired_on")
PIECES = "pieces"
COLUMNS = (*KEYS, *PRODUCT_COLUMNS, *PIECE_COLUMNS, PIECES)
MOST_LINES = 1000
MOST_BYTES = 512 * 1024
MOST_PIECES = 200
SEPARATORS = (",", ";", "\t")
PRICE = re.compile(r"-?[0-9]{1,20}([.,][0-9]{1,9})?")
MASS = re.compile(r"-?[0-9]{1,20}([.,][0-9]{1,20})?([eE][+-]?[0-9]{1,2})?")


@dataclass(frozen=True, slots=True)
class StockLine:
    """One line as it was read. Only columns that the file has are in `product` and `piece`."""

    number: int
    category: str
    name: str
    product: Mapping[str, Any]
    piece: Mapping[str, Any]
    pieces: int
    faults: tuple[Fault, ...] = ()


def read_stock(filename: str, content: bytes) -> list[StockLine]:
    """The lines of a file, each with its own faults. Raises `Refused` where the file as a whole cannot be read."""
    text = _text(filename, content)
    rows = _rows(filename, text)
    head = next(rows, None)
    if head is None:
        raise Refused([Fault(filename, "file", "no line", f"a first line with columns: {', '.join(COLUMNS)}")])
    columns = _columns(filename, *head)
    lines: list[StockLine] = []
    for number, cells in rows:
        if not any(cell.strip() for cell in cells):
            continue
        if len(lines) == MOST_LINES:
            given = f"more than {MOST_LINES} lines"
            raise Refused([Fault(filename, "file", given, f"at most {MOST_LINES}; split the file", number)])
        lines.append(_line(filename, number, columns, cells))
    if not lines:
        raise Refused([Fault(filename, "file", "columns and no line below them", "a line for each product or piece")])
    return lines


def write_stock(lines: Iterable[Mapping[str, Any]]) -> bytes:
    """The file of these lines. Every cell is quoted, so that no spreadsheet's own separator parts one."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, quoting=csv.QUOTE_ALL)
    writer.writerow(COLUMNS)
    for line in lines:
        writer.writerow([_cell(line.get(column)) for column in COLUMNS])
    return buffer.getvalue().encode()


def _cell(value: object) -> object:
    return harmless(value) if isinstance(value, str) else value


def _text(filename: str, content: bytes) -> str:
    if len(content) > MOST_BYTES:
        raise Refused([Fault(filename, "file", f"{len(content)} bytes", f"at most {MOST_BYTES}; split the file")])
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        given = f"the byte {content[error.start]:#04x}, which is not UTF-8"
        raise Refused([Fault(filename, "file", given, "text in UTF-8; save it again as CSV in UTF-8", line)]) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise Refused([Fault(filename, "file", "the character NUL", "a text file: CSV in UTF-8", line)])
    return text


def _rows(filename: str, text: str) -> Iterator[tuple[int, list[str]]]:
    """Number and cells of each line; a quoted cell may go over several, the number is that of its first."""
    first = text.split("\n", 1)[0]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=max(SEPARATORS, key=first.count), strict=True)
    number = 1
    try:
        for cells in reader:
            if cells or number == 1:
                yield number, cells
            number = reader.line_num + 1
    except csv.Error as error:
        given = f"a line that cannot be parted into cells ({error})"
        allowed = 'cells between , or ; or tabs, a quotation mark within "..." written twice'
        raise Refused([Fault(filename, "line", given, allowed, number)]) from None


def _columns(filename: str, number: int, cells: Sequence[str]) -> list[str]:
    names = [cell.strip().casefold() for cell in cells]
    known = f"columns out of: {', '.join(COLUMNS)}"
    faults = [
        Fault(filename, "columns", f"{shown(name)} {'twice' if name in COLUMNS else ''}".strip(), known, number)
        for at, name in enumerate(names)
        if name not in COLUMNS or name in names[:at]
    ]
    faults += [
        Fault(filename, "columns", f"no {key}", f"a column {key}: it names the product", number)
        for key in KEYS
        if key not in names
    ]
    if faults:
        raise Refused(faults[:50])
    return names


def _line(filename: str, number: int, columns: Sequence[str], cells: Sequence[str]) -> StockLine:
    faults: list[Fault] = []
    values: dict[str, Any] = {}
    if len(cells) != len(columns):
        given = f"{len(cells)} cells"
        faults.append(Fault(filename, "line", given, f"{len(columns)}, as many as there are columns", number))
    for column, cell in zip(columns, cells, strict=False):
        read, allowed = READ.get(column, (_plain, ""))
        text = as_written(cell) if column in KEYS else as_written(cell.strip())
        try:
            values[column] = read(text)
        except ValueError:
            faults.append(Fault(filename, column, shown(text), allowed, number))
    faults += [
        Fault(filename, key, "nothing", f"the product's {key}", number)
        for key in KEYS
        if not str(values.get(key, "")).strip() and len(cells) == len(columns)
    ]
    product = {key: values[key] for key in PRODUCT_COLUMNS if key in values}
    piece = {key: values[key] for key in PIECE_COLUMNS if key in values}
    pieces, fault = _pieces(filename, number, piece, values.get(PIECES))
    faults += [fault] if fault else []
    return StockLine(number, values.get("category", ""), values.get("name", ""), product, piece, pieces, tuple(faults))


def _pieces(filename: str, number: int, piece: Mapping[str, Any], given: int | None) -> tuple[int, Fault | None]:
    """How many pieces the line speaks of: one where a fact of a piece is given, none for the product alone."""
    described = any(piece.values())
    pieces = int(described) if given is None else given
    if piece.get("serial") and pieces != 1:
        return 0, Fault(filename, PIECES, str(pieces), "1 or nothing: a serial is of one piece", number)
    if described and not pieces:
        return 0, Fault(filename, PIECES, "0", "1 or more where size, acquired_on or retired_on is given", number)
    return pieces, None


def _plain(text: str) -> str:
    return text


def _price(text: str) -> Decimal | None:
    return Decimal(_matched(PRICE, text)) if text else None


def _mass(text: str) -> float | None:
    return float(_matched(MASS, text)) if text else None


def _matched(pattern: re.Pattern[str], text: str) -> str:
    if not pattern.fullmatch(text):
        raise ValueError(text)
    return text.replace(",", ".")


def _day(text: str) -> date | None:
    if text and not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        raise ValueError(text)
    return date.fromisoformat(text) if text else None


def _count(text: str) -> int | None:
    if not text:
        return None
    if not re.fullmatch(r"[0-9]{1,9}", text) or int(text) > MOST_PIECES:
        raise ValueError(text)
    return int(text)


READ: Mapping[str, tuple[Callable[[str], Any], str]] = {
    "list_price": (_price, "a price such as 289.00 or 289,00, without a sign for thousands"),
    "mass_kg": (_mass, "kilograms such as 1.25 or 1,25"),
    "acquired_on": (_day, "a day such as 2026-05-09"),
    "retired_on": (_day, "a day such as 2026-05-09"),
    PIECES: (_count, f"a whole number up to {MOST_PIECES}"),
}

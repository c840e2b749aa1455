"""Products, prices and stock out of a file. A dry run is the import itself, taken back: both say the same.

A line names a product by category and name. An empty cell empties the value, a column that is not there leaves it.
A file takes no piece away: what is out of use gets its `retired_on`.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from typing import Any

from django.db import transaction

from analysis.readers.faults import Fault, shown
from studio.records.currencies import CURRENCIES
from studio.records.errors import Conflict, RecordsError, Unusable
from studio.records.models import EquipmentItem, Product, Studio, User
from studio.records.services import write
from studio.records.services.equipment import item_create, item_update, product_create, product_update
from studio.records.stock_file import PIECES, StockLine, read_stock

NEW, CHANGED, SAME, REFUSED = "new", "changed", "same", "refused"
CHANGED_MEANWHILE = "The products or the stock changed since the dry run, so nothing was imported; look at it again."


@dataclass(frozen=True, slots=True)
class CellChange:
    """One value of a line that is another afterwards; `pieces` counts those of that kind."""

    key: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class LineOutcome:
    """What a line does."""

    line: int
    does: str
    product: str
    changes: tuple[CellChange, ...] = ()
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class StockOutcome:
    """What a file does, line by line."""

    lines: tuple[LineOutcome, ...]

    @property
    def faults(self) -> tuple[Fault, ...]:
        return tuple(fault for line in self.lines for fault in line.faults)

    @property
    def seen(self) -> str:
        """A mark of exactly this outcome: an import that names it does this and nothing else."""
        told = json.dumps([asdict(line) for line in self.lines], sort_keys=True)
        return hashlib.sha256(told.encode()).hexdigest()[:32]

    def count(self, does: str) -> int:
        return sum(line.does == does for line in self.lines)


class _TakenBackError(Exception):
    """Ends the transaction of a dry run."""


def stock_rehearse(*, studio: Studio, by: User | None, filename: str, content: bytes) -> StockOutcome:
    """What the import would do. Raises `Refused` where the file as a whole cannot be read."""
    lines = read_stock(filename, content)
    try:
        with write.change_of(studio):
            outcome = _Import(studio, by, filename).outcome(lines)
            raise _TakenBackError
    except _TakenBackError:
        return outcome


def stock_import(*, studio: Studio, by: User | None, filename: str, content: bytes, seen: str = "") -> StockOutcome:
    """Import a file, whole or not at all; with `seen` only if it does what that dry run said.

    Raises `Refused` and `Unusable` with every fault, `Conflict` where the outcome is not the one that was seen.
    """
    lines = read_stock(filename, content)
    with write.change_of(studio):
        outcome = _Import(studio, by, filename).outcome(lines)
        if seen and seen != outcome.seen:
            raise Conflict(CHANGED_MEANWHILE)
        if outcome.faults:
            refused = outcome.count(REFUSED)
            said = f"{refused} of {len(lines)} lines cannot be used, so nothing was imported; mend what `errors` names."
            raise Unusable(said, faults=outcome.faults)
        return outcome


class _Import:
    """One file on its way into the records, inside the studio's turn to write."""

    def __init__(self, studio: Studio, by: User | None, filename: str) -> None:
        self.studio, self.by, self.filename = studio, by, filename
        self.products = {(one.category, one.name): one for one in Product.objects.filter(studio=studio)}
        self.items: dict[Any, list[EquipmentItem]] = {}
        for item in EquipmentItem.objects.filter(studio=studio).order_by("id"):
            self.items.setdefault(item.product_id, []).append(item)
        self.said: dict[tuple[str, str], StockLine] = {}
        self.kinds: dict[tuple[Any, ...], int] = {}

    def outcome(self, lines: list[StockLine]) -> StockOutcome:
        return StockOutcome(tuple(self._line(line) for line in lines))

    def _line(self, line: StockLine) -> LineOutcome:
        line = self._named(line)
        said = f"{line.name} ({line.category})"[:300]
        faults = line.faults or tuple(self._against_file(line))
        if faults:
            return LineOutcome(line.number, REFUSED, said, faults=faults)
        try:
            with transaction.atomic():  # a refused line leaves nothing of itself
                product, does, changes = self._product(line)
                pieces = self._pieces(product, line)
        except RecordsError as refusal:
            return LineOutcome(line.number, REFUSED, said, faults=self._faults(line, refusal))
        self.products[line.category, line.name] = product
        does = CHANGED if does == SAME and pieces else does
        return LineOutcome(line.number, does, said, (*changes, *pieces))

    def _named(self, line: StockLine) -> StockLine:
        """Spaces around a name are slips, but where a product has them."""
        if (line.category, line.name) in self.products:
            return line
        return replace(line, category=line.category.strip(), name=line.name.strip())

    def _against_file(self, line: StockLine) -> list[Fault]:
        """What speaks against a line because of an earlier one."""
        key = (line.category, line.name)
        first = self.said.setdefault(key, line)
        faults = [
            self._fault(
                line, name, _told(line.product[name]), f"{_told(value) or 'nothing'}, as in line {first.number}"
            )
            for name, value in first.product.items()
            if line.product[name] != value
        ]
        kind = (*key, line.piece.get("serial")) if line.piece.get("serial") else (*key, *line.piece.values())
        kind = kind if line.pieces else key
        number = self.kinds.setdefault(kind, line.number)
        if number != line.number:
            faults.append(self._fault(line, "line", f"the same as line {number}", "each product or piece once"))
        return faults

    def _product(self, line: StockLine) -> tuple[Product, str, list[CellChange]]:
        product = self.products.get((line.category, line.name))
        given = dict(line.product)
        if product is None:
            self._known_currency(line, "")
            made = product_create(studio=self.studio, by=self.by, category=line.category, name=line.name, **given)
            return made, NEW, [CellChange(key, "", _told(value)) for key, value in given.items() if _told(value)]
        changes = {key: value for key, value in given.items() if getattr(product, key) != value}
        if not changes:
            return product, SAME, []
        self._known_currency(line, product.currency)
        told = [CellChange(key, _told(getattr(product, key)), _told(value)) for key, value in changes.items()]
        # A copy, since the write changes its object also where the line is refused later on.
        product = write.changed_copy(product, {})
        return product_update(record=product, by=self.by, version=product.version, changes=changes), CHANGED, told

    def _known_currency(self, line: StockLine, stands: str) -> None:
        code = line.product.get("currency", stands)
        if code and code != stands and code not in CURRENCIES:
            fault = self._fault(line, "currency", shown(code), "three capital letters of ISO 4217, such as EUR")
            raise Unusable("The currency is not known.", faults=(fault,))

    def _pieces(self, product: Product, line: StockLine) -> list[CellChange]:
        if not line.pieces:
            return []
        there = self.items.get(product.pk, [])
        serial = line.piece.get("serial", "")
        if serial:
            item = next((one for one in there if one.serial == serial), None)
            return self._serial(product, line, item)
        kind = {"retired_on": None, **line.piece, "serial": ""}
        alike = [one for one in there if one.rider_id is None and all(getattr(one, k) == v for k, v in kind.items())]
        if line.pieces < len(alike):
            allowed = f"{len(alike)} or more: that many are there, and a file takes no piece away"
            raise Unusable("Too few pieces.", faults=(self._fault(line, PIECES, str(line.pieces), allowed),))
        made = [self._made(product, line) for _ in range(line.pieces - len(alike))]
        self.items[product.pk] = there + made
        return [CellChange(PIECES, str(len(alike)), str(line.pieces))] if made else []

    def _serial(self, product: Product, line: StockLine, item: EquipmentItem | None) -> list[CellChange]:
        if item is None:
            self.items.setdefault(product.pk, []).append(self._made(product, line))
            facts = [CellChange(key, "", _told(value)) for key, value in line.piece.items() if _told(value)]
            return [*facts, CellChange(PIECES, "0", "1")]
        if item.rider_id is not None:
            fault = self._fault(line, "serial", shown(item.serial), "a piece of the stock; this one is a rider's own")
            raise Unusable("A rider's own piece is no stock.", faults=(fault,))
        changes = {key: value for key, value in line.piece.items() if getattr(item, key) != value}
        told = [CellChange(key, _told(getattr(item, key)), _told(value)) for key, value in changes.items()]
        if changes:
            item_update(record=write.changed_copy(item, {}), by=self.by, version=item.version, changes=changes)
        return told

    def _made(self, product: Product, line: StockLine) -> EquipmentItem:
        return item_create(studio=self.studio, by=self.by, product=product, **line.piece)

    def _fault(self, line: StockLine, key: str, given: str, allowed: str) -> Fault:
        return Fault(self.filename, key, given, allowed, line.number)

    def _faults(self, line: StockLine, refusal: RecordsError) -> tuple[Fault, ...]:
        """The records' own refusal, at this line of the file."""
        where: dict[str, Any] = {"file": self.filename, "line": line.number}
        cells = {key: str(value) for key, value in line.product.items() if isinstance(value, Decimal)}
        found = [replace(fault, **where, given=cells.get(fault.key, fault.given)) for fault in refusal.faults]
        return tuple(found) or (self._fault(line, "line", "what the records do not take", refusal.message),)


def _told(value: object) -> str:
    """A value as the file has it."""
    return "" if value is None else str(value)

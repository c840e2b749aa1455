"""The studio's products: those of a category, and all with its own pieces as the stock file has them."""

from __future__ import annotations

from collections import Counter
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from studio.records.models import EquipmentItem, Product, Studio
from studio.records.stock_file import KEYS, PIECE_COLUMNS, PIECES, PRODUCT_COLUMNS


def products_in(studio: Studio, category: str) -> QuerySet[Product]:
    """By name. None in a category that no text can be: PostgreSQL would refuse the very question."""
    rows = Product.objects.none() if "\0" in category else Product.objects.filter(studio=studio, category=category)
    return rows.order_by("name")


def stock_lines(studio: Studio) -> list[dict[str, Any]]:
    """A line for each kind of piece, and one for a product of which there is none; in two queries. No rider's piece."""
    pieces: dict[UUID, Counter[tuple[Any, ...]]] = {}
    stock = EquipmentItem.objects.filter(studio=studio, rider__isnull=True).order_by("id")
    for product, *facts in stock.values_list("product_id", *PIECE_COLUMNS):
        pieces.setdefault(product, Counter())[tuple(facts)] += 1
    columns = (*KEYS, *PRODUCT_COLUMNS)
    lines = []
    for pk, *values in Product.objects.filter(studio=studio).order_by(*KEYS).values_list("pk", *columns):
        product = dict(zip(columns, values, strict=True))
        kinds = pieces.get(pk)
        if kinds is None:
            lines.append(product)
            continue
        for facts, count in kinds.items():
            lines.append({**product, **dict(zip(PIECE_COLUMNS, facts, strict=True)), PIECES: count})
    return lines

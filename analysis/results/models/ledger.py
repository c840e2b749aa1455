"""What was ever published, as far as it could give a rider away: random keys and weights, never a value."""

from __future__ import annotations

import secrets

from django.db import models
from uuid6 import uuid7

from studio.records.models import Product, Rider, Studio


def random_key() -> int:
    """A key that says nothing of whom it stands for."""
    return secrets.randbits(63)


class ContributorKey(models.Model):
    """The map from a rider to the key that stands for them in the ledger; erasure empties `rider` and keeps the key."""

    key = models.BigIntegerField(primary_key=True, default=random_key, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    rider = models.OneToOneField(Rider, on_delete=models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["key"]

    def __str__(self) -> str:
        return f"contributor {self.key}"


class LedgerEntry(models.Model):
    """Figures that were published once: what each weighs of the arms behind it.

    `unknowns` holds three random keys for each of these arms, int64: the contributor's, one of the arm, one of the
    contributor's product; `weights` a line of float32 for every figure. Kept for ever: what was read cannot be unread.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    category = models.CharField(max_length=60)
    figures = models.PositiveIntegerField()
    unknowns = models.BinaryField()
    weights = models.BinaryField()
    published_at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "ledger entries"

    def __str__(self) -> str:
        return f"{self.figures} figures of {self.category}"


class CountedGroup(models.Model):
    """Riders who were counted together once for two products, and on how many of them the product was faster (null
    where that is never told).

    `riders` holds their random keys, int64, ascending. Kept for ever, so that nobody is ever counted again in another
    company: what every published count is the sum of (`analysis.core.pool.tallies`).
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    category = models.CharField(max_length=60)
    product = models.ForeignKey(Product, on_delete=models.CASCADE, related_name="+")
    reference = models.ForeignKey(Product, on_delete=models.CASCADE, related_name="+")
    riders = models.BinaryField()
    faster = models.PositiveIntegerField(null=True)
    counted_at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"riders counted for {self.product} against {self.reference}"

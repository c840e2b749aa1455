"""Standings as they were made at one moment. Who may see which figure was decided when they were made, but for a
consent withdrawn since: that is asked when they are read (`analysis.results.standings`)."""

from __future__ import annotations

from django.db import models
from uuid6 import uuid7

from studio.records.models import Studio
from studio.records.querysets import RecordQuerySet


class Edition(models.Model):
    """All standings of a studio, made together; the highest number counts."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveIntegerField()
    arms = models.PositiveIntegerField()
    evidence_sha256 = models.CharField(max_length=64)
    made_at = models.DateTimeField()

    objects = RecordQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [models.UniqueConstraint(fields=["studio", "number"], name="edition_number_once_per_studio")]

    def __str__(self) -> str:
        return f"edition {self.number}"


class Standings(models.Model):
    """One category in one stratum of an edition; an empty band leaves its dimension open.

    `products` holds a row for every product of the category with its figures against the first that is shown, or the
    reason why it is `withheld`; `covariance` is the lower triangle of those shown, float64; `contributors` the random
    keys of the riders behind the figures, int64; `figures` what the whole category says (tau, Q ...).
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    edition = models.ForeignKey(Edition, on_delete=models.CASCADE, related_name="standings")
    category = models.CharField(max_length=60)
    bike_kind = models.CharField(max_length=20, blank=True)
    height_band = models.CharField(max_length=20, blank=True)
    yaw_band = models.CharField(max_length=20, blank=True)
    figures = models.JSONField()
    products = models.JSONField()
    covariance = models.BinaryField()
    contributors = models.BinaryField()

    objects = RecordQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "standings"
        constraints = [
            models.UniqueConstraint(
                fields=["edition", "category", "bike_kind", "height_band", "yaw_band"],
                name="standings_once_per_stratum",
            )
        ]

    def __str__(self) -> str:
        return f"{self.category} of {self.edition}"

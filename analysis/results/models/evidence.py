"""What accepted analyses say of products: the arms that pooling is fed with, and nothing of what it makes of them."""

from __future__ import annotations

from django.db import models
from uuid6 import uuid7

from analysis.results.models.analysis import Analysis
from studio.records.models import FieldSession, Product, Rider, Studio, User
from studio.records.querysets import RecordQuerySet


class Acceptance(models.Model):
    """The analysis that a fitter made the session's word. A newer accepted one takes its place."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    session = models.OneToOneField(FieldSession, on_delete=models.CASCADE, related_name="+")
    analysis = models.OneToOneField(Analysis, on_delete=models.CASCADE, related_name="acceptance")
    accepted_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    accepted_at = models.DateTimeField()

    objects = RecordQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"acceptance of {self.analysis}"


ARM_FACTS = (
    "cda_m2", "se_m2", "bike_kind", "height_band", "yaw_band", "height_cm", "mean_speed_mps", "mean_abs_yaw_deg",
)  # fmt: skip
"""What an arm says beside who rode what: figures, then bands, then numbers."""


class Arm(models.Model):
    """One product in one study (a session and a category). The squared errors of two arms of a study add up to the
    variance of their difference; what the session's runs have in common is in the study's level and in no arm."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="+")
    analysis = models.ForeignKey(Analysis, on_delete=models.CASCADE, related_name="+")
    session = models.ForeignKey(FieldSession, on_delete=models.CASCADE, related_name="+")
    rider = models.ForeignKey(Rider, on_delete=models.CASCADE, related_name="+")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    category = models.CharField(max_length=60)
    cda_m2 = models.FloatField()
    se_m2 = models.FloatField()
    bike_kind = models.CharField(max_length=20)
    height_band = models.CharField(max_length=20, blank=True)
    yaw_band = models.CharField(max_length=20, blank=True)
    height_cm = models.FloatField(null=True)
    mean_speed_mps = models.FloatField(null=True)
    mean_abs_yaw_deg = models.FloatField(null=True)

    objects = RecordQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["session", "category", "product"], name="arm_once_in_its_study"),
            models.CheckConstraint(condition=models.Q(se_m2__gt=0), name="arm_error_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.product} in {self.session}"

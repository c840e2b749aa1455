"""Who is tested, and what they agreed to."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from studio.records.models.base import Record
from studio.records.models.user import User


class Rider(Record):
    """A person who is tested. Health notes are for fitters and owners only."""

    client_paths: ClassVar[tuple[str, ...]] = ("user",)

    code = models.CharField(max_length=60)
    given_names = models.CharField(max_length=200, blank=True)
    family_name = models.CharField(max_length=200, blank=True)
    birth_year = models.PositiveSmallIntegerField(null=True, blank=True)
    height_cm = models.FloatField(null=True, blank=True)
    contact = models.CharField(max_length=300, blank=True)
    health_notes = models.TextField(blank=True)
    guardian_name = models.CharField(max_length=200, blank=True)
    guardian_agreed_on = models.DateField(null=True, blank=True)
    user = models.OneToOneField(User, on_delete=models.SET_NULL, null=True, blank=True, related_name="rider")

    class Meta(Record.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["studio", "code"],
                name="rider_code_once_per_studio",
                violation_error_message="A rider's code is used once in a studio.",
            ),
            models.CheckConstraint(
                condition=models.Q(height_cm__isnull=True) | models.Q(height_cm__gte=50, height_cm__lte=260),
                name="rider_height_plausible",
                violation_error_message="A height is from 50 to 260 cm.",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class ConsentPurpose(models.TextChoices):
    """Each purpose is agreed to by itself."""

    RECORDS = "records", "keep records"
    POOLED_RESULTS = "pooled_results", "pooled results"
    CONTACT = "contact", "contact"
    HEALTH_NOTES = "health_notes", "health notes"


class Consent(Record):
    """One purpose that a rider agreed to, from when to when; `guardian_name` where one agreed for a child.

    Never made by a bundle.
    """

    client_paths: ClassVar[tuple[str, ...]] = ("rider__user",)

    rider = models.ForeignKey(Rider, on_delete=models.CASCADE, related_name="consents")
    purpose = models.CharField(max_length=20, choices=ConsentPurpose)
    wording_version = models.CharField(max_length=40)
    given_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    from_paper = models.BooleanField(default=False)
    guardian_name = models.CharField(max_length=200, blank=True, default="")
    entered_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")

    class Meta(Record.Meta):
        indexes = [
            models.Index(
                fields=["studio", "purpose"],
                condition=models.Q(withdrawn_at__isnull=False),
                name="consent_withdrawn",
            )
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["rider", "purpose"],
                condition=models.Q(withdrawn_at__isnull=True),
                name="consent_one_open_per_purpose",
                violation_error_message="A purpose is agreed to once; withdraw the open consent first.",
                violation_error_code="unique",
            ),
            models.CheckConstraint(
                condition=models.Q(withdrawn_at__isnull=True) | models.Q(withdrawn_at__gte=models.F("given_at")),
                name="consent_withdrawn_after_given",
                violation_error_message="A consent is withdrawn after it was given.",
            ),
        ]

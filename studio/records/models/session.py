"""A test day and its runs."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from studio.records.models.base import Record
from studio.records.models.bike import Bike
from studio.records.models.course import Course
from studio.records.models.instrument import Instrument
from studio.records.models.recording import Recording
from studio.records.models.rider import Rider
from studio.records.models.setup import Setup
from studio.records.models.user import User


class FieldSession(Record):
    """One rider, one bike, one course, one day.

    `weather` holds readings as the bundle has them; `unknown` what a bundle said that nobody knows, by its place
    (`rider`, `runs.3` ...), so that an export gives it back. `bundle_sha256` names the canonical bundle:
    the same bundle twice is the same session.
    """

    client_paths: ClassVar[tuple[str, ...]] = ("rider__user",)

    rider = models.ForeignKey(Rider, on_delete=models.PROTECT, related_name="sessions")
    bike = models.ForeignKey(Bike, on_delete=models.PROTECT, related_name="sessions")
    course = models.ForeignKey(Course, on_delete=models.PROTECT, related_name="sessions")
    title = models.CharField(max_length=300, blank=True)
    date = models.DateField()
    timezone = models.CharField(max_length=64)
    note = models.TextField(blank=True)
    fitter = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    fitter_name = models.CharField(max_length=200, blank=True)
    plan = models.JSONField(default=dict, blank=True)
    weather = models.JSONField(default=list, blank=True)
    rider_mass_kg = models.FloatField(null=True, blank=True)
    system_mass_kg = models.FloatField(null=True, blank=True)
    assumed_crr = models.FloatField(null=True, blank=True)
    assumed_drivetrain_efficiency = models.FloatField(null=True, blank=True)
    smallest_difference_m2 = models.FloatField(null=True, blank=True)
    repeatability_sd_m2 = models.FloatField(null=True, blank=True)
    repeatability_df = models.FloatField(null=True, blank=True)
    instruments = models.ManyToManyField(Instrument, blank=True, related_name="+")
    unknown = models.JSONField(default=dict, blank=True)
    bundle_sha256 = models.CharField(max_length=64, null=True, blank=True)  # noqa: DJ001 - unique where present

    class Meta(Record.Meta):
        verbose_name = "session"
        constraints = [
            models.UniqueConstraint(
                fields=["studio", "bundle_sha256"],
                name="session_bundle_once",
                violation_error_message="A bundle is one session.",
            ),
            models.CheckConstraint(
                condition=models.Q(system_mass_kg__isnull=True) | models.Q(system_mass_kg__gt=0),
                name="session_mass_positive",
                violation_error_message="A system mass is above 0 kg.",
            ),
            models.CheckConstraint(
                # "not null" is said: a comparison with null is unknown, and unknown passes a check
                condition=models.Q(repeatability_sd_m2__isnull=True, repeatability_df__isnull=True)
                | models.Q(
                    repeatability_sd_m2__isnull=False,
                    repeatability_df__isnull=False,
                    repeatability_sd_m2__gt=0,
                    repeatability_df__gt=0,
                ),
                name="session_repeatability_whole",
                violation_error_message="A repeatability has both its SD and its degrees of freedom, each above 0.",
            ),
        ]

    def __str__(self) -> str:
        return self.title or f"{self.rider} {self.date}"


class SessionSetup(models.Model):
    """A setup that a session tests, in the order it was planned; one of them is the reference."""

    session = models.ForeignKey(FieldSession, on_delete=models.CASCADE, related_name="setup_links")
    setup = models.ForeignKey(Setup, on_delete=models.PROTECT, related_name="session_links")
    order = models.PositiveSmallIntegerField()
    reference = models.BooleanField(default=False)

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "setup"],
                name="session_setup_once",
                violation_error_message="A session names a setup once.",
            ),
            models.UniqueConstraint(
                fields=["session", "order"],
                name="session_setup_order_once",
                violation_error_message="A place in the order of a session's setups holds one setup.",
            ),
            models.UniqueConstraint(
                fields=["session"],
                condition=models.Q(reference=True),
                name="session_one_reference",
                violation_error_message="A session has one reference setup.",
                violation_error_code="unique",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.session}: {self.setup}"


class Run(Record):
    """One ride of one setup. A recording may serve several runs, cut by times or by lap."""

    client_paths: ClassVar[tuple[str, ...]] = ("session__rider__user",)

    session = models.ForeignKey(FieldSession, on_delete=models.CASCADE, related_name="runs")
    number = models.PositiveIntegerField()
    setup = models.ForeignKey(Setup, on_delete=models.PROTECT, related_name="runs")
    recording = models.ForeignKey(Recording, on_delete=models.PROTECT, null=True, blank=True, related_name="runs")
    started_at = models.DateTimeField(null=True, blank=True)  # inclusive
    ended_at = models.DateTimeField(null=True, blank=True)  # exclusive
    lap = models.PositiveIntegerField(null=True, blank=True)
    system_mass_kg = models.FloatField(null=True, blank=True)
    left_out = models.CharField(max_length=300, blank=True)
    note = models.TextField(blank=True)
    # read from the recording's channels, null until an analysis has read them; they follow the cut, not the version
    ridden_m = models.FloatField(null=True, blank=True)
    ridden_s = models.FloatField(null=True, blank=True)

    class Meta(Record.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["session", "number"],
                name="run_number_once_per_session",
                violation_error_message="A run's number is used once in a session.",
            ),
            models.CheckConstraint(
                condition=models.Q(number__gte=1),
                name="run_number_from_one",
                violation_error_message="Run numbers count from 1.",
            ),
            models.CheckConstraint(
                condition=models.Q(started_at__isnull=True)
                | models.Q(ended_at__isnull=True)
                | models.Q(ended_at__gt=models.F("started_at")),
                name="run_ends_after_start",
                violation_error_message="A run ends after it starts.",
            ),
            models.CheckConstraint(
                condition=models.Q(lap__isnull=True) | models.Q(started_at__isnull=True, ended_at__isnull=True),
                name="run_cut_by_lap_or_times",
                violation_error_message="A run is cut from its recording by times or by lap, one of the two.",
            ),
            models.CheckConstraint(
                condition=models.Q(system_mass_kg__isnull=True) | models.Q(system_mass_kg__gt=0),
                name="run_mass_positive",
                violation_error_message="A system mass is above 0 kg.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.session} run {self.number}"

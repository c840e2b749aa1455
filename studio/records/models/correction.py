"""What was put right in a session, with both values, so that it can be shown and, on the same day, undone.

That it happened, when and by whom is an event of the chain; here lies what the undoing and the showing need.
"""

from __future__ import annotations

from django.db import models

from studio.records.models.base import Record
from studio.records.models.rider import Rider
from studio.records.models.user import User


class CorrectionKind(models.TextChoices):
    LEFT_OUT = "left_out", "left out"
    TAKEN_IN = "taken_in", "taken back in"
    REASSIGNED = "reassigned", "reassigned to another setup"
    MENDED = "mended", "setup mended by a new one"
    RUN_DELETED = "run_deleted", "run deleted"
    SESSION_DELETED = "session_deleted", "empty session deleted"


class Correction(Record):
    """One act of putting right.

    `session_key` is the session's id, no foreign key: a deleted session's correction outlives it. `changes` holds
    `runs` (each with `id`, `number`, `before`, `after`), `links` (the session's setups before and after) and `deleted`
    (a removed record's columns), each where the act had it.
    """

    kind = models.CharField(max_length=20, choices=CorrectionKind)
    rider = models.ForeignKey(Rider, on_delete=models.CASCADE, related_name="+")
    session_key = models.UUIDField(db_index=True)
    session_name = models.CharField(max_length=300)
    reason = models.CharField(max_length=300, blank=True)
    changes = models.JSONField(default=dict)
    made_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    undone_at = models.DateTimeField(null=True)
    undone_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")

    class Meta(Record.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind__in=CorrectionKind.values),
                name="correction_kind_known",
                violation_error_message="A correction is one of the kinds that the list of corrections names.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.session_name}: {self.get_kind_display()}"

"""What was put right in sessions, with both values: to be shown and, on the same day, undone."""

import django.db.models.deletion
import uuid6
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("records", "0011_guardians_of_consents"),
    ]

    operations = [
        migrations.CreateModel(
            name="Correction",
            fields=[
                ("id", models.UUIDField(default=uuid6.uuid7, editable=False, primary_key=True, serialize=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                ("updated_at", models.DateTimeField(auto_now=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("left_out", "left out"),
                            ("taken_in", "taken back in"),
                            ("reassigned", "reassigned to another setup"),
                            ("mended", "setup mended by a new one"),
                            ("run_deleted", "run deleted"),
                            ("session_deleted", "empty session deleted"),
                        ],
                        max_length=20,
                    ),
                ),
                ("session_key", models.UUIDField(db_index=True)),
                ("session_name", models.CharField(max_length=300)),
                ("reason", models.CharField(blank=True, max_length=300)),
                ("changes", models.JSONField(default=dict)),
                ("undone_at", models.DateTimeField(null=True)),
                (
                    "made_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "rider",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to="records.rider"
                    ),
                ),
                (
                    "studio",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="records.studio"
                    ),
                ),
                (
                    "undone_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-id"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "kind__in",
                                ["left_out", "taken_in", "reassigned", "mended", "run_deleted", "session_deleted"],
                            )
                        ),
                        name="correction_kind_known",
                        violation_error_message="A correction is one of the kinds that the list of corrections names.",
                    )
                ],
            },
        ),
    ]

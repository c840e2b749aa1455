"""One-time links by which people come in; only the link's hash is kept."""

import django.db.models.deletion
import uuid6
from django.conf import settings
from django.db import migrations, models

ROLES = [("owner", "owner"), ("fitter", "fitter"), ("client", "client"), ("shop", "shop")]


class Migration(migrations.Migration):
    dependencies = [("records", "0009_sign_out_everywhere")]

    operations = [
        migrations.CreateModel(
            name="Invitation",
            fields=[
                ("id", models.UUIDField(default=uuid6.uuid7, editable=False, primary_key=True, serialize=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                ("updated_at", models.DateTimeField(auto_now=True)),
                ("role", models.CharField(choices=ROLES, max_length=10)),
                ("name", models.CharField(blank=True, max_length=120)),
                ("sha256", models.CharField(max_length=64, unique=True)),
                ("expires_at", models.DateTimeField()),
                (
                    "rider",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="records.rider",
                    ),
                ),
                (
                    "studio",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="records.studio"
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
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
                        condition=models.Q(role__in=["owner", "fitter", "client", "shop"]),
                        name="invitation_role_known",
                        violation_error_message="A role is one of owner, fitter, client, shop.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(rider__isnull=True) | models.Q(role="client"),
                        name="invitation_rider_is_a_clients",
                        violation_error_message="Only a client's invitation names a rider.",
                    ),
                ],
            },
        ),
    ]

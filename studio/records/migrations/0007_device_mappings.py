"""A studio remembers how a device's fields are read, and a recording which rules it was read by."""

import django.db.models.deletion
import uuid6
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("records", "0006_kept_answers"),
    ]

    operations = [
        migrations.AddField(
            model_name="recording",
            name="mapping",
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.CreateModel(
            name="DeviceMapping",
            fields=[
                ("id", models.UUIDField(default=uuid6.uuid7, editable=False, primary_key=True, serialize=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                ("updated_at", models.DateTimeField(auto_now=True)),
                ("device_key", models.CharField(max_length=40)),
                ("name", models.CharField(blank=True, max_length=200)),
                ("rules", models.JSONField(blank=True, default=dict)),
                (
                    "studio",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="records.studio"
                    ),
                ),
            ],
            options={
                "verbose_name": "mapping",
                "ordering": ["-id"],
                "abstract": False,
                "constraints": [
                    models.UniqueConstraint(
                        fields=("studio", "device_key"),
                        name="mapping_once_per_device",
                        violation_error_message="A device has one mapping in a studio; change that one.",
                    )
                ],
            },
        ),
    ]

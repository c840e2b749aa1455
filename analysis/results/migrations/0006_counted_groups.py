"""Riders who were counted together, so that nobody is counted again in another company."""

import django.db.models.deletion
import uuid6
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("records", "0013_find_withdrawn_consents"),
        ("results", "0005_numbers_of_arms"),
    ]

    operations = [
        migrations.CreateModel(
            name="CountedGroup",
            fields=[
                ("id", models.UUIDField(default=uuid6.uuid7, editable=False, primary_key=True, serialize=False)),
                ("category", models.CharField(max_length=60)),
                ("riders", models.BinaryField()),
                ("faster", models.PositiveIntegerField(null=True)),
                ("counted_at", models.DateTimeField()),
                (
                    "product",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to="records.product"
                    ),
                ),
                (
                    "reference",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to="records.product"
                    ),
                ),
                (
                    "studio",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="records.studio"
                    ),
                ),
            ],
            options={
                "ordering": ["-id"],
            },
        ),
    ]

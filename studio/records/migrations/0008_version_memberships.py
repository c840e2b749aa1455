"""A membership is a record like others: its changes are counted, so that nobody overwrites one unseen."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("records", "0007_device_mappings")]

    operations = [
        migrations.AddField("membership", "version", models.PositiveIntegerField(default=1, editable=False)),
        migrations.AddField("membership", "updated_at", models.DateTimeField(auto_now=True)),
        migrations.AlterField(
            "membership",
            "studio",
            models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="records.studio"),
        ),
    ]

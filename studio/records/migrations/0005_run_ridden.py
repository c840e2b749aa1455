"""Metres and seconds ridden, as an analysis reads them from a run's recording."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("records", "0004_token_kinds_and_scopes")]

    operations = [
        migrations.AddField("run", "ridden_m", models.FloatField(blank=True, null=True)),
        migrations.AddField("run", "ridden_s", models.FloatField(blank=True, null=True)),
    ]

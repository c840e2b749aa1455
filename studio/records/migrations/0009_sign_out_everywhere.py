"""An account counts how often it signed out everywhere; a browser's session holds the count that it began with."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("records", "0008_version_memberships")]

    operations = [
        migrations.AddField("user", "times_signed_out", models.PositiveIntegerField(default=0, editable=False)),
    ]

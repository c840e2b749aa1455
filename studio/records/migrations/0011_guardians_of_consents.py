"""A consent says who agreed for a rider under age."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("records", "0010_invitations")]

    operations = [
        migrations.AddField("consent", "guardian_name", models.CharField(blank=True, default="", max_length=200)),
    ]

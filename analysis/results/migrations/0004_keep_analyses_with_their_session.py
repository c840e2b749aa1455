"""No session takes its analyses along when it is deleted; a job outlives it. Nothing of this is in the database."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("records", "0012_corrections"),
        ("results", "0003_evidence_and_editions"),
    ]

    operations = [
        migrations.AlterField(
            model_name="analysis",
            name="session",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="records.fieldsession"
            ),
        ),
        migrations.AlterField(
            model_name="job",
            name="session",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.SET_NULL, related_name="+", to="records.fieldsession"
            ),
        ),
    ]

"""An analysis stays as the engine said it: the database refuses to change one."""

from django.db import migrations

from studio.records.triggers import guard, refuse_always


class Migration(migrations.Migration):
    dependencies = [("results", "0001_jobs_and_analyses")]

    operations = [
        guard(*refuse_always("results_analysis", "update", "An analysis stays as it was made; make a new analysis."))
    ]

"""A report stays as it was handed over: the database refuses to change one."""

from django.db import migrations

from studio.records.triggers import guard, refuse_always


class Migration(migrations.Migration):
    dependencies = [("reports", "0001_reports")]

    operations = [
        guard(*refuse_always("reports_report", "update", "A report stays as it was issued; make a new report."))
    ]

"""The trail is append-only: the database changes and deletes no event."""

from django.db import migrations

from studio.records.triggers import guard, refuse_always

WORDS = "The trail is append-only: an event stays as it was written."


class Migration(migrations.Migration):
    dependencies = [("records", "0002_freeze_used_setups")]

    operations = [
        guard(*refuse_always("records_event", "update", WORDS)),
        guard(*refuse_always("records_event", "delete", WORDS)),
    ]

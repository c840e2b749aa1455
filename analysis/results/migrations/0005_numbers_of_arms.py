"""Arms know how tall, how fast and at what yaw; those that are there are filled in from their analyses."""

from __future__ import annotations

from typing import Any

from django.db import migrations, models

MOST_AT_ONCE = 200


def mean_ridden(result: dict[str, Any], key: str) -> float | None:
    """Mean over the time ridden in the setups that were compared."""
    setups = {name for each in result["comparisons"] for name in (each["reference"], each["changed"])}
    told = [
        (run[key], run["used_s"] or 0.0)
        for run in result["runs"]
        if run["setup"] in setups and run.get(key) is not None
    ]
    seconds = sum(used for _, used in told)
    return sum(value * used for value, used in told) / seconds if seconds > 0.0 else None


def fill_in(apps: Any, schema_editor: Any) -> None:
    arms = apps.get_model("results", "Arm").objects.all()
    analyses = apps.get_model("results", "Analysis").objects.filter(pk__in=arms.values("analysis"))
    for analysis in analyses.select_related("session__rider").iterator(chunk_size=MOST_AT_ONCE):
        numbers = {key: mean_ridden(analysis.result, key) for key in ("mean_speed_mps", "mean_abs_yaw_deg")}
        arms.filter(analysis=analysis).update(height_cm=analysis.session.rider.height_cm, **numbers)


class Migration(migrations.Migration):
    dependencies = [("results", "0004_keep_analyses_with_their_session")]

    operations = [
        *(
            migrations.AddField(model_name="arm", name=name, field=models.FloatField(null=True))
            for name in ("height_cm", "mean_speed_mps", "mean_abs_yaw_deg")
        ),
        migrations.RunPython(fill_in, migrations.RunPython.noop),
    ]

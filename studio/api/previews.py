"""What was found in a recording: the shape of its preview."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from studio.api.mappings import MappedField
from studio.records.models import RecordingState


class ChannelFound(serializers.Serializer[Any]):
    """A channel, the file's field behind it, the share of samples that have a value, and between what."""

    name = serializers.CharField()
    unit = serializers.CharField()
    field = serializers.CharField(allow_null=True)
    coverage = serializers.FloatField()
    lowest = serializers.FloatField(allow_null=True)
    highest = serializers.FloatField(allow_null=True)


class FieldFound(serializers.Serializer[Any]):
    """A field of the file: the channel that it was read as, or the one that it most resembles."""

    field = serializers.CharField()
    channel = serializers.CharField(allow_null=True)
    suggestion = serializers.CharField(allow_null=True)
    suggestion_unit = serializers.CharField(allow_null=True)


class SpanFound(serializers.Serializer[Any]):
    start_s = serializers.FloatField()
    end_s = serializers.FloatField()
    number = serializers.IntegerField(allow_null=True, help_text="of a lap")


class ProposedRun(serializers.Serializer[Any]):
    """A part that may be a run; `recordings/{id}/cut/` makes it one."""

    by = serializers.ChoiceField(["laps", "paths"])
    start_s = serializers.FloatField()
    end_s = serializers.FloatField()
    why = serializers.CharField()
    lap = serializers.IntegerField(allow_null=True)
    distance_m = serializers.FloatField(allow_null=True)
    paths = serializers.IntegerField(allow_null=True, help_text="closed paths in it")
    to = serializers.DateTimeField(required=False, help_text="exclusive; where the recording has a clock")

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        start = serializers.DateTimeField(required=False, help_text="inclusive; where the recording has a clock")
        return {**super().get_fields(), "from": start}


class Found(serializers.Serializer[Any]):
    """What one file holds, on its own clock."""

    name = serializers.CharField()
    format = serializers.CharField()
    samples = serializers.IntegerField()
    start = serializers.DateTimeField(allow_null=True)
    end = serializers.DateTimeField(allow_null=True)
    start_s = serializers.FloatField()
    end_s = serializers.FloatField()
    step_s = serializers.FloatField(allow_null=True)
    zone = serializers.ChoiceField(["given", "assumed", "none"])
    gaps = serializers.IntegerField()
    gaps_s = serializers.FloatField()
    longest_gaps = SpanFound(many=True)
    laps = SpanFound(many=True)
    channels = ChannelFound(many=True)
    fields_left = serializers.ListField(child=serializers.DictField(), help_text="fields that were not understood")
    device_key = serializers.CharField()
    device = serializers.DictField()
    notes = serializers.ListField(child=serializers.DictField())
    proposed_runs = ProposedRun(many=True)


class PreviewOut(serializers.Serializer[Any]):
    """`found` once the file is read, `problem` where it cannot be, neither while it waits for its job."""

    recording = serializers.UUIDField()
    state = serializers.ChoiceField(RecordingState.choices)
    found = Found(allow_null=True)
    problem = serializers.DictField(allow_null=True)
    device_key = serializers.CharField(allow_null=True, help_text="names the device to `mappings/`")
    mapping = MappedField(many=True, help_text="the studio's own reading that was used")
    fields = FieldFound(many=True)  # type: ignore[assignment]  # the metaclass takes it away
    date_note = serializers.CharField(allow_null=True, help_text="says where it was made on another day")

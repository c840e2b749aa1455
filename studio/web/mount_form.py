"""The forms that mount a piece and take it off: on which bike or rider, in which slot, and when."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, QueryDict
from django.utils import timezone

from studio.records.models import Bike, EquipmentItem, Rider
from studio.records.models.equipment import SLOTS

CLOCK = "%Y-%m-%dT%H:%M"


def moment_field(label: str) -> forms.DateTimeField:
    """A time of the clock in UTC, as the page says beside it."""
    widget = forms.DateTimeInput({"type": "datetime-local"}, format=CLOCK)
    return forms.DateTimeField(label=label, widget=widget, help_text="in UTC")


class MountForm(forms.Form):
    place = forms.ChoiceField(label="On which bike or rider")
    slot = forms.ChoiceField(choices=[(slot, slot.replace("_", " ")) for slot in SLOTS])
    mounted_at = moment_field("From")

    def where(self) -> dict[str, Any]:
        """The chosen bike or rider by its key; the services refuse another studio's."""
        kind, _, pk = self.cleaned_data["place"].partition(":")
        return {f"{kind}_id": pk}


class TakeOffForm(forms.Form):
    removed_at = moment_field("Taken off at")


def mount_form(request: HttpRequest, item: EquipmentItem, sent: QueryDict | None = None) -> MountForm:
    """The form with the bikes and riders that the caller may see."""
    category = item.product.category
    initial = {"mounted_at": timezone.now(), "slot": category if category in SLOTS else "other"}
    form = MountForm(sent, initial=initial)
    bikes = Bike.objects.visible_to(request.user).select_related("rider").order_by("rider__code", "name")
    riders = Rider.objects.visible_to(request.user).order_by("code")
    form.fields["place"].choices = [  # type: ignore[attr-defined]
        ("Bikes", [(f"bike:{one.pk}", f"{one} of {one.rider.code}") for one in bikes]),
        ("Riders", [(f"rider:{one.pk}", f"rider {one.code}") for one in riders]),
    ]
    return form

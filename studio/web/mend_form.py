"""The form by which a setup is mended: every fact of it with what is on record, and which runs move."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from django import forms
from django.db.models import Q
from django.utils.datastructures import MultiValueDict

from studio.records.models import EquipmentItem, Position, Setup
from studio.web.both_values import Both
from studio.web.side_by_side import NOT_NOTED, in_words

if TYPE_CHECKING:  # the stubs' classes take a parameter, the real ones do not
    ItemChoice = forms.ModelChoiceField[EquipmentItem]
    PositionChoice = forms.ModelChoiceField[Position]
else:
    ItemChoice = PositionChoice = forms.ModelChoiceField

TYRES = ("tyres", "front_tyre", "rear_tyre")
ENDS = ("front", "rear")
OWN = ("label", "system_mass_kg", "clothing", "bottles", "position")
PLAIN = {"label", "system_mass_kg", "clothing", "bottles", "reason"}


class PositionField(PositionChoice):
    """A position of the bike, by its number and the coordinates that tell it apart."""

    def label_from_instance(self, obj: Position) -> str:
        told = ", ".join(f"{in_words(key)} {value:g}" for key, value in sorted(obj.coordinates.items())[:3])
        return f"{obj.number}: {obj.name or told}"


class MendForm(forms.Form):
    """Drawn from a setup and from the versions of its runs by number; what is typed is compared with the setup."""

    system_mass_kg = forms.FloatField(
        required=False, min_value=0.0, label="System mass (kg)", help_text="rider, bike and all that is carried"
    )
    pressure_front = forms.FloatField(required=False, min_value=0.0, label="Tyre pressure, front (kPa)")
    pressure_rear = forms.FloatField(required=False, min_value=0.0, label="Tyre pressure, rear (kPa)")
    clothing = forms.CharField(required=False, max_length=300, label="Clothing")
    bottles = forms.IntegerField(required=False, min_value=0, label="Bottles")
    position = PositionField(queryset=Position.objects.none(), required=False, label="Position", empty_label=NOT_NOTED)
    label = forms.CharField(
        max_length=60, label="Label of the mended setup", help_text="it may stay while all runs move"
    )
    runs = forms.TypedMultipleChoiceField(
        coerce=int, widget=forms.CheckboxSelectMultiple, label="Runs that were ridden so"
    )
    reason = forms.CharField(max_length=300, label="What was wrong, and how you know")

    def __init__(self, setup: Setup, versions: Mapping[int, int], data: MultiValueDict[str, str] | None = None) -> None:
        self.setup, self.versions = setup, dict(versions)
        self.slots = {slot.slot: slot.item for slot in setup.slots.all()}
        super().__init__(data, initial=self._on_record())
        self.fields["position"].queryset = setup.bike.positions.order_by("number")  # type: ignore[attr-defined]
        self.fields["runs"].choices = [(number, f"run {number}") for number in versions]  # type: ignore[attr-defined]
        for slot in dict.fromkeys((*TYRES, *self.slots)):
            words = slot.replace("_", " ").capitalize()
            self.fields[f"slot_{slot}"] = ItemChoice(
                queryset=self._items(slot), required=False, label=words, empty_label=NOT_NOTED
            )
        others = [slot for slot in self.slots if slot not in TYRES]
        pressures = [f"pressure_{end}" for end in ENDS]
        self.order_fields(
            ["system_mass_kg", *(f"slot_{slot}" for slot in TYRES), *pressures, *(f"slot_{slot}" for slot in others)]
        )

    def _items(self, slot: str) -> Any:  # noqa: ANN401 - the query set's own class is not public
        """Pieces that can be in the slot: of its kind, the studio's or the rider's, and the one that is said to be."""
        rider = Q(rider=None) | Q(rider=self.setup.bike.rider_id)
        kinds = Q(product__category__in=(slot, "tyres") if slot in TYRES else (slot,))
        there = self.slots.get(slot)
        if there is not None:
            kinds |= Q(product__category=there.product.category)
        of_kind = rider & kinds & Q(retired_on=None)
        same = Q(pk=there.pk) if there is not None else Q(pk=None)
        items = EquipmentItem.objects.filter(of_kind | same, studio=self.setup.studio_id)
        return items.select_related("product").order_by("product__name", "serial")

    def _on_record(self) -> dict[str, Any]:
        setup = self.setup
        pressures = {f"pressure_{end}": setup.tyre_pressure_kpa.get(end) for end in ENDS}
        items = {f"slot_{slot}": item.pk for slot, item in self.slots.items()}
        own = {name: getattr(setup, name) for name in OWN if name != "position"}
        return {**own, **pressures, **items, "position": setup.position_id, "runs": list(self.versions)}

    def touched(self) -> list[str]:
        """The fields that the fitter changed, without those that are no facts of the setup."""
        return [name for name in self.changed_data if name not in ("runs", "reason")]

    def changes(self) -> dict[str, Any]:
        """What `setup_mend` is to change."""
        given, touched = self.cleaned_data, self.touched()
        new = {name: given[name] for name in OWN if name in touched}
        if "clothing" in new:
            new["clothing"] = new["clothing"] or None
        ends = {end: given[f"pressure_{end}"] for end in ENDS if f"pressure_{end}" in touched}
        if ends:
            both = {**self.setup.tyre_pressure_kpa, **ends}
            new["tyre_pressure_kpa"] = {end: value for end, value in both.items() if value is not None}
        items = {name.removeprefix("slot_"): given[name] for name in touched if name.startswith("slot_")}
        return {**new, "items": items} if items else new

    def asked(self) -> dict[str, Any]:
        """The checked form as the service takes it."""
        chosen = self.cleaned_data["runs"]
        numbers = None if len(chosen) == len(self.versions) else chosen
        reason = self.cleaned_data["reason"]
        return {"changes": self.changes(), "reason": reason, "numbers": numbers, "seen": self.versions}

    def typed_over(self, setup: Setup, versions: Mapping[int, int]) -> MultiValueDict[str, str]:
        """The form's data anew for what is on record now: what was typed stays, what was not touched follows."""
        now = MendForm(setup, versions)
        data: MultiValueDict[str, str] = MultiValueDict()
        for name, field in now.fields.items():
            kept = name in self.changed_data or name == "reason"
            value = self.data.get(name) if kept else field.prepare_value(now.initial.get(name))
            data[name] = "" if value is None else str(value)
        chosen = [str(number) for number in self.cleaned_data["runs"] if number in versions]
        data.setlist("runs", chosen or [str(number) for number in versions])
        return data

    def against(self, setup: Setup) -> list[Both]:
        """Theirs and yours of every fact that the fitter changed or that is another one on record now."""
        now = MendForm(setup, self.versions)
        names = [name for name in now.fields if name not in ("runs", "reason")]
        moved = [name for name in names if now.initial.get(name) != self.initial.get(name)]
        return [
            Both(self._words(name), now.said(name), self.said(name) if name in self.touched() else "as it was")
            for name in names
            if name in self.touched() or name in moved
        ]

    def _words(self, name: str) -> str:
        return str(self.fields[name].label or name).lower() if name in self.fields else name

    def said(self, name: str) -> str:
        """The value that the form has for a field, in words."""
        value = self.cleaned_data.get(name) if self.is_bound else self.initial.get(name)
        if value in (None, ""):
            return NOT_NOTED
        field = self.fields[name]
        if isinstance(field, forms.ModelChoiceField):
            choices: Any = field.queryset
            return field.label_from_instance(value if self.is_bound else choices.get(pk=value))
        return f"{value:g}" if isinstance(value, float) else str(value)

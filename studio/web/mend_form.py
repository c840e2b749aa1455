"""The form by which a setup is mended: every fact of it with what is on record, and which runs move."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django import forms
from django.db.models import Q
from django.utils.datastructures import MultiValueDict

from studio.records.models import EquipmentItem, Position, Product, Setup
from studio.web.both_values import Both
from studio.web.side_by_side import NOT_NOTED, in_words

if TYPE_CHECKING:  # the stubs' class takes a parameter, the real one does not
    PositionChoice = forms.ModelChoiceField[Position]
else:
    PositionChoice = forms.ModelChoiceField

TYRES = ("tyres", "front_tyre", "rear_tyre")
ENDS = ("front", "rear")
OWN = ("label", "system_mass_kg", "clothing", "bottles", "position")
MOST_CHOICES = 400


class SlotField(forms.TypedChoiceField):
    """What fills a slot: a piece, or a product of which no piece is entered yet; chosen, one is entered."""

    def __init__(self, pieces: Sequence[EquipmentItem], products: Sequence[Product], label: str) -> None:
        self.rows: dict[str, EquipmentItem | Product] = {str(piece.pk): piece for piece in pieces}
        self.rows |= {_key(product.pk): product for product in products}
        choices: list[Any] = [("", NOT_NOTED), *((str(piece.pk), str(piece)) for piece in pieces)]
        if products:
            choices.append(("no piece entered yet", [(_key(one.pk), str(one)) for one in products]))
        super().__init__(choices=choices, coerce=self.rows.__getitem__, empty_value=None, required=False, label=label)

    def key_now(self, key: str) -> str:
        """The key that stands for what was chosen, where a piece of the product was entered since."""
        if key in self.rows:
            return key
        pieces = (one for one in self.rows.values() if isinstance(one, EquipmentItem))
        return next((str(one.pk) for one in pieces if _key(one.product_id) == key), key)


def _key(product_id: UUID) -> str:
    return f"product {product_id}"


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
    pressure_front = forms.FloatField(
        required=False,
        min_value=0.0,
        label="Tyre pressure, front (kPa)",
        help_text="as it was ridden; a pressure never goes above the lower of the tyre's and the rim's limit",
    )
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
        super().__init__(None if data is None else data.copy(), initial=self._on_record())
        self.fields["position"].queryset = setup.bike.positions.order_by("number")  # type: ignore[attr-defined]
        self.fields["runs"].choices = [(number, f"run {number}") for number in versions]  # type: ignore[attr-defined]
        for slot in dict.fromkeys((*TYRES, *self.slots)):
            words = slot.replace("_", " ").capitalize()
            name, field = f"slot_{slot}", SlotField(self._pieces(slot), self._products(slot), words)
            self.fields[name] = field
            if data is not None and name in data:
                self.data[name] = field.key_now(str(data[name]))  # type: ignore[index]  # a copy of our own
        others = [slot for slot in self.slots if slot not in TYRES]
        pressures = [f"pressure_{end}" for end in ENDS]
        self.order_fields(
            ["system_mass_kg", *(f"slot_{slot}" for slot in TYRES), *pressures, *(f"slot_{slot}" for slot in others)]
        )

    def _kinds(self, slot: str) -> set[str]:
        """Categories whose products fill the slot: its own name, as a bundle has it, and that of what is in it."""
        there = self.slots.get(slot)
        return {slot, *({"tyres"} if slot in TYRES else ()), *({there.product.category} if there else ())}

    def _pieces(self, slot: str) -> list[EquipmentItem]:
        """The studio's pieces and the rider's, and the one that is said to be there."""
        there = self.slots.get(slot)
        rider = Q(rider=None) | Q(rider=self.setup.bike.rider_id)
        fits = rider & Q(product__category__in=self._kinds(slot), retired_on=None)
        items = EquipmentItem.objects.filter(fits | Q(pk=there.pk if there else None), studio=self.setup.studio_id)
        return list(items.select_related("product").order_by("product__name", "serial")[:MOST_CHOICES])

    def _products(self, slot: str) -> list[Product]:
        found = Product.objects.filter(studio=self.setup.studio_id, category__in=self._kinds(slot), items=None)
        return list(found.order_by("name")[:MOST_CHOICES])

    def _on_record(self) -> dict[str, Any]:
        setup = self.setup
        pressures = {f"pressure_{end}": setup.tyre_pressure_kpa.get(end) for end in ENDS}
        items = {f"slot_{slot}": str(item.pk) for slot, item in self.slots.items()}
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
        if isinstance(field, SlotField):
            return str(value if self.is_bound else field.rows[value])
        if isinstance(field, forms.ModelChoiceField):
            choices: Any = field.queryset
            return field.label_from_instance(value if self.is_bound else choices.get(pk=value))
        return f"{value:g}" if isinstance(value, float) else str(value)

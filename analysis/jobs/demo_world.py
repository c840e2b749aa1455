"""The demo's invented world: riders, catalogue and test days. No such person, product or place exists.

Every course lies in the open North Atlantic. What is true of a day goes to the simulator as keywords of its `World`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

STUDIO_NAME = "Leeward Demo Studio"
STUDIO_ADDRESS = "Pier 0, somewhere in the open sea (invented)"
TIMEZONE = "Atlantic/Azores"
CURRENCY = "EUR"


@dataclass(frozen=True, slots=True)
class DemoRider:
    """A rider and the bike that goes with them."""

    code: str
    given_names: str
    family_name: str
    birth_year: int
    height_cm: float
    mass_kg: float
    bike: str
    bike_kind: str
    bike_mass_kg: float


RIDERS = (
    DemoRider("LEE-01", "Tamsel", "Orvane", 1991, 178, 70.5, "Hollin Arrow 56", "time trial", 8.9),
    DemoRider("LEE-02", "Ilka", "Brandemoor", 1988, 168, 58.0, "Hollin Arrow 51", "time trial", 8.6),
    DemoRider("LEE-03", "Joss", "Ketterwell", 1979, 186, 79.0, "Dunwen Long 58", "road", 7.9),
    DemoRider("LEE-04", "Mirre", "Sandvole", 1996, 172, 62.5, "Dunwen Long 53", "road", 7.6),
    DemoRider("LEE-05", "Eadan", "Pellworth", 1984, 181, 74.0, "Hollin Arrow 58", "time trial", 9.1),
    DemoRider("LEE-06", "Sorrel", "Wexmaine", 2001, 165, 55.5, "Marl Sprint 50", "road", 7.4),
    DemoRider("LEE-07", "Orrin", "Hallowvane", 1993, 175, 68.5, "Hollin Arrow 55", "time trial", 8.8),
    DemoRider("LEE-08", "Bettrys", "Colmarsh", 1990, 169, 60.0, "Hollin Arrow 52", "time trial", 8.7),
    DemoRider("LEE-09", "Davin", "Sternbeck", 1986, 184, 77.5, "Hollin Arrow 58", "time trial", 9.0),
    DemoRider("LEE-10", "Ysolt", "Arkendale", 1998, 173, 61.0, "Hollin Arrow 53", "time trial", 8.7),
    DemoRider("LEE-11", "Corven", "Tallowby", 1982, 188, 81.0, "Hollin Arrow 60", "time trial", 9.2),
    DemoRider("LEE-12", "Nerys", "Quillstone", 1995, 171, 63.5, "Hollin Arrow 52", "time trial", 8.6),
)

# category, maker, name, price, mass in kg
PRODUCTS = (
    ("helmet", "Orlo", "Orlo Vent", "119.00", 0.27),
    ("helmet", "Orlo", "Orlo Tail", "289.00", 0.38),
    ("helmet", "Quenna", "Quenna Shell", "239.00", 0.33),
    ("helmet", "Quenna", "Quenna Shell Visor", "279.00", 0.40),
    ("wheels", "Tarn", "Tarn 40", "890.00", 1.52),
    ("wheels", "Tarn", "Tarn 60", "1090.00", 1.64),
    ("wheels", "Tarn", "Tarn 80", "1240.00", 1.78),
    ("wheels", "Vaskel", "Vaskel Deep", "1690.00", 1.69),
    ("wheels", "Vaskel", "Vaskel Plate", "2150.00", 1.95),
    ("wheels", "Vaskel", "Vaskel Spoke", "1180.00", 1.58),
    ("tyres", "Pellin", "Pellin 28", "94.00", 0.52),
    ("tyres", "Pellin", "Pellin 25", "92.00", 0.46),
    ("tyres", "Morrik", "Morrik Swift 28", "128.00", 0.49),
    ("suit", "Ilmer", "Ilmer Plain", "139.00", 0.21),
    ("suit", "Ilmer", "Ilmer Ribbed", "259.00", 0.23),
    ("suit", "Ilmer", "Ilmer Long Sleeve", "289.00", 0.25),
    ("shoes", "Ossery", "Ossery Lace", "179.00", 0.50),
    ("shoes", "Ossery", "Ossery Cover", "59.00", 0.09),
    ("cockpit", "Sarn", "Sarn Level", "420.00", 0.78),
    ("cockpit", "Sarn", "Sarn Rise", "470.00", 0.81),
    ("cockpit", "Sarn", "Sarn Drop", "310.00", 0.42),
    ("frame", "Hollin", "Hollin Arrow", "3400.00", 1.85),
    ("frame", "Dunwen", "Dunwen Long", "2300.00", 1.12),
    ("frame", "Marl", "Marl Sprint", "1450.00", 1.30),
    ("other", "Keel", "Keel Bottle", "24.00", 0.08),
    ("other", "Keel", "Keel Number Pocket", "15.00", 0.02),
)


@dataclass(frozen=True, slots=True)
class DemoDay:
    """One test day: what differs between the setups, in the bundle's words, and what is true of it."""

    title: str
    rider: int
    date: str
    changed: Mapping[str, Any]
    world: Mapping[str, Any] = field(default_factory=dict)
    note: str = ""
    further: tuple[Mapping[str, Any], ...] = ()  # setups after the second
    accepted: bool = False  # by the fitter, for the standings


LAP: Mapping[str, Any] = {"kind": "lap", "length_m": 1200.0, "laps": 3}
RISING_PADS = {"position": {"pad_stack_mm": 630, "saddle_height_mm": 742}}

SINGLE_DAYS = (
    DemoDay("Deeper wheels", 0, "2026-04-11", {"items": {"wheels": "Tarn 80"}}, {"delta_cda_m2": (-0.0062,)}),
    DemoDay("Tail helmet", 1, "2026-04-12", {"items": {"helmet": "Orlo Tail"}}, {"delta_cda_m2": (-0.0071,)}),
    DemoDay(
        "Pads up, mount sagged",
        4,
        "2026-04-18",
        RISING_PADS,
        {"delta_cda_m2": (0.0085,), "gain": 0.96, "sag_per_hour": -0.04},
        "The air sensor's mount gave way during the morning.",
    ),
    DemoDay("Ribbed suit", 2, "2026-04-19", {"items": {"suit": "Ilmer Ribbed"}}, {"delta_cda_m2": (-0.0058,)}),
    DemoDay(
        "Shoe covers, four runs",
        3,
        "2026-04-25",
        {"items": {"shoes": "Ossery Cover"}},
        {"delta_cda_m2": (-0.0008,), "order": "ABBA", "run_scatter_sd_m2": 0.0016},
        "Rain stopped the day after four runs.",
    ),
    DemoDay(
        "Helmet and suit together",
        5,
        "2026-04-26",
        {"items": {"helmet": "Quenna Shell", "suit": "Ilmer Long Sleeve"}},
        {"delta_cda_m2": (-0.0090,)},
        "Two things were changed at once, for lack of time.",
    ),
    DemoDay("Plate wheels", 4, "2026-05-02", {"items": {"wheels": "Vaskel Plate"}}, {"delta_cda_m2": (-0.0079,)}),
    DemoDay("Raised cockpit", 0, "2026-05-03", {"items": {"cockpit": "Sarn Rise"}}, {"delta_cda_m2": (0.0066,)}),
    DemoDay(
        "Smooth shell helmet", 2, "2026-05-09", {"items": {"helmet": "Quenna Shell"}}, {"delta_cda_m2": (-0.0055,)}
    ),
    DemoDay(
        "Deeper wheels on laps",
        1,
        "2026-05-10",
        {"items": {"wheels": "Tarn 60"}},
        {"delta_cda_m2": (-0.0064,), **LAP},
    ),
    DemoDay("Second bottle", 3, "2026-05-16", {"bottles": 2}, {"delta_cda_m2": (0.0051,)}),
    DemoDay("Visor", 5, "2026-05-17", {"items": {"helmet": "Quenna Shell Visor"}}, {"delta_cda_m2": (-0.0060,), **LAP}),
)

WHEELS_M2 = {
    "Tarn 60": -0.0021,
    "Tarn 80": -0.0037,
    "Vaskel Deep": -0.0048,
    "Vaskel Plate": -0.0063,
    "Vaskel Spoke": 0.0008,
}
# two wheels beside the usual one for each rider; the last is tried by two riders only, and stays withheld
WHEELS_OF = (
    ("Tarn 60", "Vaskel Deep"),
    ("Tarn 80", "Vaskel Plate"),
    ("Tarn 60", "Tarn 80"),
    ("Vaskel Deep", "Vaskel Plate"),
    ("Tarn 60", "Vaskel Plate"),
    ("Tarn 80", "Vaskel Deep"),
    ("Tarn 60", "Vaskel Deep"),
    ("Tarn 80", "Vaskel Plate"),
    ("Tarn 60", "Tarn 80"),
    ("Vaskel Deep", "Vaskel Plate"),
    ("Vaskel Plate", "Vaskel Spoke"),
    ("Tarn 80", "Vaskel Spoke"),
)
OWN_M2 = (0.0004, -0.0007, 0.0002, 0.0009, -0.0003, 0.0006, -0.0008, 0.0001, -0.0005, 0.0007, -0.0002, -0.0004)
"""How far wheels do more or less for a rider than for others: no two bodies meet the same air."""


def wheel_day(rider: int) -> DemoDay:
    """Three wheels in one morning, as every rider of the studio rode them; accepted for the standings."""
    second, third = WHEELS_OF[rider]
    true = (WHEELS_M2[second] + OWN_M2[rider], WHEELS_M2[third] - OWN_M2[rider])
    world = {"delta_cda_m2": true, "order": "ABCCBABCA", "length_m": 1100.0, "pause_s": 120.0}
    setups = ({"items": {"wheels": second}}, {"items": {"wheels": third}})
    date = f"2026-06-{6 + rider:02}"
    return DemoDay("Three wheels", rider, date, setups[0], world, further=setups[1:], accepted=True)


DAYS = SINGLE_DAYS + tuple(wheel_day(rider) for rider in range(len(RIDERS)))

USUAL_ITEMS = {
    "helmet": "Orlo Vent",
    "suit": "Ilmer Plain",
    "shoes": "Ossery Lace",
    "cockpit": "Sarn Level",
    "wheels": "Tarn 40",
    "tyres": "Pellin 28",
}
USUAL_SETUP: Mapping[str, Any] = {
    "items": USUAL_ITEMS,
    "position": {"pad_stack_mm": 610, "saddle_height_mm": 742},
    "tyre_pressure_kpa": {"front": 520, "rear": 540},
    "clothing": "short sleeves",
    "bottles": 1,
}

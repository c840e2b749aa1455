"""The vocabulary: every channel's name, unit and plausible range, in the units of files.

A reader turns whatever a file calls its columns into these names (`mapping.py` says how). The names are those
of the published design; conversion to SI is the translator's business (`session.py`).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel. Outside `lowest`..`highest` a value is a fault of the sensor or of the unit."""

    name: str
    unit: str
    lowest: float
    highest: float
    meaning: str


# Ranges are what a rider outdoors can meet with room to spare; common practice, no source.
CHANNELS = {
    channel.name: channel
    for channel in (
        Channel("latitude_deg", "deg", -90, 90, "latitude, WGS 84"),
        Channel("longitude_deg", "deg", -180, 180, "longitude, WGS 84"),
        Channel("altitude_m", "m", -500, 9000, "height by the device"),
        Channel("distance_m", "m", -1, 2_000_000, "distance by the wheel, as recorded"),
        Channel("speed_mps", "m/s", -1, 50, "speed by the wheel, as recorded"),
        Channel("power_w", "W", -500, 5000, "power at the meter"),
        Channel("cadence_rpm", "rpm", 0, 300, "cadence"),
        Channel("heart_rate_bpm", "bpm", 0, 260, "heart rate"),
        Channel("airspeed_mps", "m/s", -20, 70, "the air's speed along the direction of travel, as sensed"),
        Channel("yaw_deg", "deg", -180, 180, "angle of the air flow, positive when the air comes from the left"),
        Channel("tilt_deg", "deg", -180, 180, "pitch of the air sensor, mount and road together"),
        Channel("temperature_c", "degC", -45, 60, "air temperature"),
        Channel("pressure_hpa", "hPa", 500, 1100, "station pressure, never reduced to sea level"),
        Channel("humidity_pct", "%", 0, 105, "relative humidity"),
        Channel("lap", "1", 0, 100_000, "lap, counted from 1"),
    )
}

TIME = "time"

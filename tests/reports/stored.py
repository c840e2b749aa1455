"""Stored results and frozen facts, laid down by hand: what an estimator would have stored, for each verdict."""

import copy

from reports.canonical import fingerprint
from reports.numerals import RULE
from reports.wording import WORDING

# name: difference, 95 % interval, 90 % interval (m2), watts and seconds with their intervals, runs still to ride
CASES = {
    "faster": (
        [-0.00618, -0.00882, -0.00354],
        [-0.00837, -0.00399],
        [-5.36, -7.66, -3.07],
        [-29.04, -41.46, -16.62],
        None,
    ),
    "slower": ([0.00512, 0.00248, 0.00776], [0.00293, 0.00731], [4.44, 2.15, 6.73], [24.06, 11.65, 36.47], None),
    "equivalent": (
        [-0.00031, -0.00163, 0.00101],
        [-0.00138, 0.00076],
        [-0.27, -1.41, 0.88],
        [-1.46, -7.66, 4.75],
        None,
    ),
    "undecided": ([-0.00172, -0.00436, 0.00092], [-0.00391, 0.00047], [-1.49, -3.78, 0.8], [-8.08, -20.5, 4.32], 12),
    "invalid": (None, None, None, None, None),
}
WHEELS = {"factor": "items.wheels", "from": "Tarn 40", "to": "Tarn 50"}


def warning(code="airspeed_drift", level="caution", where="runs 5-8", what="the mount sagged", do="look at the mount"):
    return {"code": code, "level": level, "where": where, "what": what, "do": do}


def run(number, setup, cda_m2=0.24, **other):
    used = cda_m2 is not None
    return {
        "number": number,
        "setup": setup,
        "cda_m2": cda_m2,
        "u_m2": 0.00108 if used else None,
        "mean_speed_mps": 10.31 if used else None,
        "air_density_kg_m3": 1.2137 if used else None,
        "mean_abs_yaw_deg": 5.27 if used else None,
        "used_s": 262.0 if used else None,
        "left_out_s": 28.0 if used else None,
        "warnings": [],
        **other,
    }


def setup(label, cda_m2, runs=4):
    known = cda_m2 is not None
    return {
        "label": label,
        "cda_m2": cda_m2,
        "ci95_m2": [cda_m2 - 0.0092, cda_m2 + 0.0092] if known else None,
        "ci95_within_m2": [cda_m2 - 0.0016, cda_m2 + 0.0016] if known else None,
        "runs": runs,
    }


def comparison(verdict="faster", *, changed="B", reference="A", changes=(WHEELS,), **other):
    delta, ninety, watts, seconds, more = CASES[verdict]
    value, *ends = delta or (None,)
    made = {
        "reference": reference,
        "changed": changed,
        "changes": [copy.deepcopy(change) for change in changes],
        "p_value": 0.0031 if delta else None,
        "df": 6.0 if delta else None,
        "delta_crr": None,
        "ci95_crr": None,
        "repeatability_sd_m2": 0.00153 if delta else None,
        "verdict": verdict,
        "watts": [{"speed_kmh": 40.0, "delta_w": (watts or [None])[0], "ci95_w": watts and watts[1:]}],
        "time": [
            {
                "distance_km": 40.0,
                "power_w": 250.0,
                "delta_s": (seconds or [None])[0],
                "ci95_s": seconds and seconds[1:],
            }
        ],
        "more_runs_needed": more,
        "ridden_u_m2": 0.001079 if delta else None,
        "coverage_factor": 2.446912 if delta else None,
    }
    for prefix, middle in (("", "delta_cda"), ("ridden_", "ridden_delta")):
        made |= {f"{middle}_m2": value, f"{prefix}ci95_m2": ends or None, f"{prefix}ci90_m2": ninety}
        made[f"{prefix}simultaneous_ci95_m2"] = [ends[0] - 0.0006, ends[1] + 0.0006] if ends else None
    return made | other


def result(verdict="faster", **other):
    """One session: eight runs A B B A A B B A, one comparison."""
    before = [0.24012, 0.24181, 0.23934, 0.24087]
    moved = (CASES[verdict][0] or [0.0])[0]
    means = [sum(before) / 4, sum(before) / 4 + moved]
    drag = iter(
        [
            before[0],
            before[1] + moved,
            before[2] + moved,
            before[1],
            before[2],
            before[0] + moved,
            before[3] + moved,
            before[3],
        ]
    )
    warnings = [warning(), warning("braking", "note", "run 3", "12 s of braking left out", "nothing")]
    if verdict == "invalid":
        warnings = [
            warning("course_mismatch", "invalid", "session", "no closed path was found", "ride out and back again")
        ]
    made = {
        "schema": "session-result/1",
        "engine": {"version": "0.1.0", "method": "joint"},
        "runs": [run(i + 1, label, next(drag)) for i, label in enumerate("ABBAABBA")],
        "setups": [setup("A", means[0]), setup("B", means[1])],
        "comparisons": [comparison(verdict)],
        "instruments": {
            "airspeed_gain": 0.9982,
            "airspeed_gain_change_per_hour": -0.001,
            "airspeed_gain_by_setup": {"A": 0.998, "B": 0.9991},
            "crr": 0.004231,
        },
        "budget": [
            {"source": "power meter gain", "u_relative": 0.015, "on_cda_m2": 0.003741, "on_delta_m2": 0.0000302},
            {"source": "rider from run to run", "u_relative": 0.0027, "on_cda_m2": 0.000647, "on_delta_m2": 0.000908},
            {"source": "yaw dependence", "u_relative": None, "on_cda_m2": None, "on_delta_m2": None},
        ],
        "warnings": warnings,
        "assumptions": {"smallest_difference_m2": 0.002},
    }
    if verdict == "invalid":
        made["runs"] = [run(i + 1, label, None) for i, label in enumerate("ABBAABBA")]
        made["setups"] = [setup("A", None, 0), setup("B", None, 0)]
    return made | other


def three_setups():
    """Twelve runs, two comparisons with the reference."""
    pairs = [("A", 0.2401), ("B", 0.2342), ("C", 0.2429)]
    order = "ABCCBAABCCBA"
    changes = [
        {
            "factor": "position",
            "from": {"pad_stack_mm": 610, "saddle_height_mm": 742},
            "to": {"pad_stack_mm": 600, "saddle_height_mm": 742},
        }
    ]
    means = dict(pairs)
    return result(
        runs=[run(i + 1, label, means[label] + 0.0009 * ((i * 7) % 5 - 2)) for i, label in enumerate(order)],
        setups=[setup(label, mean) for label, mean in pairs],
        comparisons=[comparison("faster"), comparison("undecided", changed="C", changes=changes)],
    )


def items(place):
    """What setup number `place` carried: other wheels in each, the same helmet."""
    wheels = {"name": f"Tarn {40 + 10 * min(place, 1)}", "serial": f"W{place}"}
    return {"helmet": {"name": "Orlo Vent", "serial": ""}, "wheels": wheels}


def facts(stored=None, **other):
    """Frozen facts around a stored result."""
    stored = result() if stored is None else stored
    labels = [s["label"] for s in stored["setups"]]
    return {
        "schema": "report-facts/1",
        "wording": WORDING,
        "rounding": RULE,
        "report": {
            "number": 12,
            "issued_at": "2026-05-11T13:03:27+00:00",
            "issued_local": "2026-05-11 13:03 (Atlantic/Azores)",
            "issued_by": "Bo Lindqvist",
        },
        "studio": {"name": "Leeward Studio", "address": ""},
        "customer": {"code": "R-014", "name": "Cy Marrow"},
        "session": {
            "title": "Two wheels",
            "date": "2026-05-09",
            "timezone": "Atlantic/Azores",
            "ridden": ["08:10", "10:32"],
            "fitter": "Bo Lindqvist",
            "course": {
                "name": "",
                "kind": "out and back",
                "length_m": 1500.0,
                "bearing_deg": 60.0,
                "surface": "asphalt",
            },
            "bike": {"name": "Test bike", "kind": "time trial", "frame": "", "size": ""},
            "weather": [
                {"temperature_c": 18.0, "pressure_hpa": 1008.0, "humidity_pct": 55.0},
                {"temperature_c": 19.5, "pressure_hpa": 1008.5, "humidity_pct": 52.0},
            ],
            "entered": {
                "system_mass_kg": 82.0,
                "rider_mass_kg": 72.4,
                "crr": 0.0042,
                "drivetrain_efficiency": 0.975,
                "repeatability_sd_m2": None,
                "repeatability_df": None,
            },
        },
        "instruments": [],
        "equipment": [],
        "setups": [
            {"label": label, "reference": i == 0, "position_number": 1, "items": items(i)}
            for i, label in enumerate(labels)
        ],
        "left_out": {},
        "recordings": [],
        "analysis": {
            "id": "0197f5a0-0000-7000-8000-000000000001",
            "number": 1,
            "done_at": "2026-05-09T11:00:00+00:00",
            "inputs_sha256": "3f" * 32,
            "result_sha256": fingerprint(stored),
        },
        "result": stored,
    } | other

"""The set-up that a careful user would write for an emulated bow and sensor: the truth, measured with small errors."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping

import numpy as np

from quiethand.emulator.attitude import compose, from_vector, matrix
from quiethand.emulator.launch_run import run_launch
from quiethand.emulator.scenario import Scenario
from quiethand.emulator.scene import Scene
from quiethand.emulator.sensor import Sensor

__all__ = ["setup_document", "setup_toml"]

G = 9.80665
INCH = 0.0254
POUND_FORCE = 4.4482216152605
GRAIN = 64.79891e-6
BOW_NAMES = {"compound": "Club compound", "recurve": "Club recurve"}


def setup_document(
    scenario: Scenario, *, archer: str = "Lane 4", distance_m: float = 18.0, face: str = "40 cm", delays: bool = False
) -> dict[str, object]:
    """The set-up file's tables, JSON-able; the same for the same scenario.

    Args:
        scenario: whose bow and sensor it describes.
        archer: name to state.
        distance_m: to the target.
        face: of the target.
        delays: state the sensor's delays, for input that cannot carry them.
    """
    scene, sensor = Scene(scenario), Sensor(scenario)
    plan = scene.plan
    rng = np.random.default_rng([scenario.seed, 9])

    def about(value: float, share: float) -> float:
        return value * (1 + share * float(rng.uniform(-1, 1)))

    drawn = np.append(np.arange(0.0, plan.stroke_m - 0.01, INCH), plan.stroke_m)
    measured = plan.force_n(plan.stroke_m - drawn) / POUND_FORCE + rng.uniform(-0.12, 0.12, len(drawn))
    measured[0] = 0.0
    curve = [
        [f"{(plan.brace_height_m + d) / INCH:.3f} in", f"{f:.2f} lbf"]
        for d, f in zip(drawn, np.maximum(measured, 0.0), strict=True)
    ]
    speed = about(run_launch(plan, sum(plan.loss_s) / 2).arrow_speed_m_s, 0.003)  # by a chronograph
    grid = np.linspace(0.0, plan.stroke_m, 2001)
    stored = float(np.trapezoid(plan.force_n(grid), grid))
    friction = about(plan.friction, 0.1)
    virtual_kg = 2 * stored * (1 - friction) / speed**2 - plan.arrow_mass_kg
    inertia = [about(value, 0.02) for value in plan.inertia_kg_m2]
    arm_mm = np.array(plan.lever_arm_m) * 1000 + rng.uniform(-3, 3, 3)
    mount = compose(sensor.mount, from_vector(rng.standard_normal(3) * math.radians(0.15)))
    # what a level, warm sensor reads at rest: gravity's share of the gyro's sensitivity to acceleration is in it
    at_rest = sensor.per_g @ (np.array([0.0, 0.0, G]) @ matrix(sensor.mount))
    bias = np.degrees(sensor.gyro_bias + 0.8 * sensor.warming + at_rest) + rng.standard_normal(3) * 0.01
    offset = sensor.accel_offset + rng.standard_normal(3) * 0.02
    heavy = scene.habit.arrow_mass_factor > 1
    table: dict[str, object] = {
        "lever_arm": [f"{v:.1f} mm" for v in arm_mm],
        "mount": [round(float(v), 6) for v in mount / np.linalg.norm(mount)],
        "gyro_bias": [f"{v:.4f} deg/s" for v in bias],
        "accel_offset": [f"{v:.4f} m/s^2" for v in offset],
    }
    if delays:
        accel_s, gyro_s = sensor.settings.delays_s(sensor.spec)
        table |= {"accel_delay": f"{accel_s * 1e6:.0f} us", "gyro_delay": f"{gyro_s * 1e6:.0f} us"}
    bow: dict[str, object] = {
        "name": BOW_NAMES[scenario.bow],
        "kind": scenario.bow,
        "peak_weight": f"{float(measured.max()):.2f} lbf",
    }
    if plan.let_off:
        bow["let_off"] = round(1 - float(measured[-1] / measured.max()), 3)
    bow |= {
        "draw_length": f"{plan.draw_length_m / INCH:.3f} in",
        "brace_height": f"{plan.brace_height_m / INCH:.3f} in",
        "rest": f"{plan.rest_m * 1000:.0f} mm",
        "draw_force_curve": curve,
        "virtual_mass": f"{virtual_kg * 1000:.2f} g",
        "friction": round(friction, 4),
        "mass": f"{about(plan.mass_kg, 0.003):.3f} kg",
        "inertia": {n: f"{v:.4f} kg m^2" for n, v in zip(("cant", "pitch", "yaw"), inertia, strict=True)},
    }
    return {
        "archer": {"name": archer, "handedness": scenario.handedness},
        "bow": bow,
        "arrow": {
            "name": "Training, heavy" if heavy else "Indoor, light",
            "mass": f"{about(plan.arrow_mass_kg, 0.001) / GRAIN:.1f} grain",
            "length": f"{plan.arrow_length_m / INCH:.2f} in",
        },
        "sensor": table,
        "target": {"face": face, "distance": f"{distance_m:g} m"},
        **_inputs(scenario),
    }


def _inputs(scenario: Scenario) -> dict[str, object]:
    events: dict[str, object] = {}
    if scenario.gate:
        events |= {"rest_channel": 1, "rest_value": 0}
    if scenario.switch:
        events |= {"release_channel": 2, "release_value": 1}
    return {"events": events} if events else {}


def setup_toml(document: Mapping[str, object]) -> str:
    """A set-up document as the text of a TOML file."""
    lines: list[str] = []
    for name, table in document.items():
        if not isinstance(table, Mapping):
            raise TypeError(f"{name} is not a table")
        lines += [f"[{name}]", *(f"{key} = {_value(value)}" for key, value in table.items()), ""]
    return "\n".join(lines)


def _value(value: object) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_value(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(inner) for inner in value) + "]"
    return json.dumps(value, ensure_ascii=False)  # strings, numbers and booleans are written alike in TOML

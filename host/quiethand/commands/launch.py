"""`quiethand launch`: what bow and arrow should do, from the set-up alone."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.bow.launch import Launch
    from quiethand.bow.model import Setup


@click.command()
@click.option("--setup", "setup_file", type=click.Path(), required=True, help="Set-up file (TOML).")
@click.option("--arrow-mass", help='In place of the set-up\'s, as in "400 grain".')
@click.option("--let-off", help="In place of the set-up's: a fraction, as in 0.8.")
@click.option(
    "--format", "form", type=click.Choice(["table", "json", "csv"]), default="table", show_default=True,
    help="csv: the string's way against time, a row a step.",
)  # fmt: skip
def command(setup_file: str, arrow_mass: str | None, let_off: str | None, form: str) -> None:
    """The launch model: time on the string, arrow speed, energies and sensitivity of a bow and arrow.

    \b
    Examples:
      quiethand launch --setup bow.toml
      quiethand launch --setup bow.toml --arrow-mass "450 grain" --let-off 0.65
      quiethand launch --setup bow.toml --format csv > way.csv
    """
    from quiethand.bow.cautions import BEFORE_EVERYTHING, NEVER_WITHOUT_ARROW, cautions_for
    from quiethand.bow.launch import launch
    from quiethand.bow.quantities import MASS, quantity
    from quiethand.bow.setup_file import read_setup

    setup = read_setup(setup_file)
    mass = None if arrow_mass is None else quantity(arrow_mass, MASS, "--arrow-mass")
    result = launch(setup, arrow_mass_kg=mass, let_off=_fraction(let_off))
    specific = cautions_for(setup, arrow_mass_kg=result.arrow_mass_kg, peak_weight_n=result.curve.peak_n)
    cautions = (*specific, NEVER_WITHOUT_ARROW, BEFORE_EVERYTHING)
    notes = (*setup.notes, *result.notes)
    if form == "json":
        click.echo(json.dumps(_object(result, setup, notes, cautions), indent=1, allow_nan=False, ensure_ascii=False))
    elif form == "csv":
        click.echo(_csv(result), nl=False)
    else:
        click.echo(_table(result, setup, notes, cautions), nl=False)


def _fraction(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        return float(text)
    except ValueError as wrong:
        raise InputError(f'"{text}" is not a number', where="--let-off", do="write a fraction, as in 0.8") from wrong


def _object(launch: Launch, setup: Setup, notes: tuple[str, ...], cautions: tuple[str, ...]) -> dict[str, Any]:
    from quiethand import __version__
    from quiethand.bow.push import riser_push

    push = riser_push(launch, setup.bow)
    sensitivity = launch.sensitivity_mm_per_nm
    return {
        "schema": 1,
        "software": f"quiethand {__version__}",
        "setup": setup.source,
        "time_on_string_s": launch.time_on_string_s,
        "rest_clear_s": launch.rest_clear_s,
        "arrow_speed_m_s": launch.arrow_speed_m_s,
        "stored_energy_j": launch.stored_energy_j,
        "kinetic_energy_j": launch.kinetic_energy_j,
        "efficiency": launch.efficiency,
        "holding_weight_n": launch.holding_weight_n,
        "peak_weight_n": launch.curve.peak_n,
        "let_off": 1 - launch.holding_weight_n / launch.curve.peak_n,
        "sensitivity_mm_per_nm": {"pitch": sensitivity.pitch, "yaw": sensitivity.yaw},
        "arrow_mass_kg": launch.arrow_mass_kg,
        "virtual_mass_kg": launch.virtual_mass_kg,
        "friction": launch.friction,
        "curve_from": launch.curve_from,
        "curve": {
            "position_m": (launch.curve.full_draw_m - launch.travel_m)[::-1].tolist(),
            "force_n": launch.force_n[::-1].tolist(),
        },
        "motion": {
            "time_s": launch.time_s.tolist(),
            "travel_m": launch.travel_m.tolist(),
            "speed_m_s": launch.speed_m_s.tolist(),
            "force_n": launch.force_n.tolist(),
            "riser_push_n": push.push_n.tolist(),
        },
        "notes": list(notes),
        "cautions": list(cautions),
    }


def _csv(launch: Launch) -> str:
    rows = zip(launch.time_s, launch.travel_m, launch.speed_m_s, launch.force_n, strict=True)
    return "time_s,travel_m,speed_m_s,force_n\n" + "".join(f"{t:.9g},{x:.9g},{v:.9g},{f:.9g}\n" for t, x, v, f in rows)


def _table(launch: Launch, setup: Setup, notes: tuple[str, ...], cautions: tuple[str, ...]) -> str:
    grain, pound_n, foot_m = 64.79891e-6, 4.4482216152605, 0.3048
    let_off = 100 * (1 - launch.holding_weight_n / launch.curve.peak_n)
    rows = [
        ("time on the string", f"{launch.time_on_string_s * 1000:.2f} ms"),
        ("rest clear (lock time)", f"{launch.rest_clear_s * 1000:.2f} ms"),
        ("arrow speed", f"{launch.arrow_speed_m_s:.1f} m/s ({launch.arrow_speed_m_s / foot_m:.0f} ft/s)"),
        ("arrow mass", f"{launch.arrow_mass_kg * 1000:.2f} g ({launch.arrow_mass_kg / grain:.0f} grain)"),
        ("stored energy", f"{launch.stored_energy_j:.1f} J"),
        ("kinetic energy", f"{launch.kinetic_energy_j:.1f} J, efficiency {100 * launch.efficiency:.1f} %"),
        ("virtual mass, friction", f"{launch.virtual_mass_kg * 1000:.2f} g, {launch.friction:g}"),
        ("peak weight", f"{launch.curve.peak_n:.1f} N ({launch.curve.peak_n / pound_n:.1f} lbf)"),
        ("holding weight", f"{launch.holding_weight_n:.1f} N ({launch.holding_weight_n / pound_n:.1f} lbf)"
         + (f", let-off {let_off:.1f} %" if let_off > 0.05 else "")),
        ("draw-force curve", launch.curve_from),
    ]  # fmt: skip
    for axis in ("yaw", "pitch"):
        value = getattr(launch.sensitivity_mm_per_nm, axis)
        missing = "inertia" if setup.target.distance_m is not None else "target distance and inertia"
        text = f"not known, needs {missing}" if value is None else f"{value:.1f} mm at the target per N m"
        rows.append((f"sensitivity, {axis}", text))
    width = max(len(name) for name, _ in rows)
    lines = [f"{name:<{width}}  {value}" for name, value in rows]
    lines += [f"Note: {note}" for note in notes]
    lines += [f"Caution: {caution}" for caution in cautions]
    return "\n".join(lines) + "\n"

"""`quiethand arrows`: an archer's arrows against each other: time on the string, and the hand's torque with each."""

from __future__ import annotations

import json
import math
import re
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

import click

from quiethand.axes import AXIS_NAMES, Axes
from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.bow.model import Setup
    from quiethand.commands.chosen import Chosen
    from quiethand.judge.lock_time import ArrowTime, Losses, Observed
    from quiethand.judge.slow_arrow import HeldAgainst, TorqueSet
    from quiethand.store import ShotFilter, Store

TORQUE: Final = tuple(f"mean_torque_{axis}_nm" for axis in AXIS_NAMES)
IMPULSE: Final = tuple(f"angular_impulse_{axis}_nms" for axis in AXIS_NAMES)
TIME: Final = "time_on_string_s"
_NUMBER: Final = r"\d+(?:\.\d+)?"
_SPEED: Final = re.compile(
    rf"\s*(?P<mass>[^=]+?)\s*=\s*(?P<speed>{_NUMBER})\s*(?P<unit>m|ft)/s"
    rf"(?:\s*(?:\+-|±)\s*(?P<sigma>{_NUMBER})(?:\s*(?P=unit)/s)?)?\s*"
)


@dataclass(frozen=True)
class ArrowSet:
    """The shots of one set-up: a bow, an arrow, and what was stated of both."""

    name: str
    setup_id: int
    setup: Setup
    time: ArrowTime
    one_shot_sigma_s: float | None  # stated standard uncertainty of one shot's time on the string, root mean square
    sensitivity_mm_per_nm: Axes  # for the measured time, else for the modelled one
    torque: TorqueSet | None
    no_torque_because: str | None


@click.command()
@click.argument("shots")
@click.option(
    "--speed", "speeds", multiple=True, help='A measured speed, as in "370 grain=88.1 m/s +- 0.3"; again for more.'
)
@click.option("--format", "form", type=click.Choice(["table", "json"]), default="table", show_default=True)
@click.option("--store", "store_url", metavar="URL", help="Any SQLAlchemy URL; else the store in your data folder.")
def command(shots: str, speeds: tuple[str, ...], form: str, store_url: str | None) -> None:
    """An archer's arrows: time on the string measured and modelled, the torque with each, and what it shows as.

    SHOTS is as in "archer=Lane 4 bow=Winter bow"; words: archer, bow, arrow, day, tag, face. Each set-up stands for
    itself, the lightest arrow first; the others are held against it. Intervals are 95 %. Excluded shots are left out.
    From arrows' speeds by a chronograph (--speed) follow the bow's losses: virtual mass and friction.

    \b
    Examples:
      quiethand arrows "archer=Lane 4"
      quiethand arrows "archer=Lane 4 day=2026-01-10" --format json
    """
    from quiethand.commands.chosen import chosen_shots, filter_of
    from quiethand.store import open_store

    wanted, observed = filter_of(shots, "SHOTS"), [_observed(text) for text in speeds]
    if wanted.archer is None:
        raise InputError("arrows are compared in one archer's hand", where="SHOTS", do='name one: "archer=Lane 4"')
    store = open_store(store_url)
    try:
        chosen = chosen_shots(store, wanted, [TIME, *TORQUE, *IMPULSE])
        if not chosen.rows:
            raise _nothing(store, wanted, shots)
        sets = _sets(store, wanted, chosen)
    finally:
        store.close()
    held, refused = _held(sets)
    losses = _losses(sets, observed) if observed else None
    if form == "json":
        from quiethand import __version__

        made = {
            "schema": 1, "software": f"quiethand {__version__}", "excluded": chosen.excluded,
            "arrows": [_object(one) for one in sets], "held_against_the_first": [_held_object(one) for one in held],
            "not_held_because": refused, "losses": asdict(losses) if losses else None,
        }  # fmt: skip
        click.echo(json.dumps(made, indent=1, ensure_ascii=False))
        return
    from quiethand.judge.slow_arrow import held_words

    lines = [line for one in sets for line in _words(one)]
    lines += [line for one in held for line in held_words(one)]
    lines += [*refused, *(_losses_words(losses) if losses else ())]
    if chosen.excluded:
        lines.append(f"Left out because someone excluded them: {chosen.excluded} shots.")
    click.echo("\n".join(lines))


def _nothing(store: Store, wanted: ShotFilter, shots: str) -> InputError:
    archers = sorted({who.archer for who in store.shooters()})
    if not archers:
        return InputError("the store holds no shot", where="SHOTS", do="import recordings with quiethand import")
    if wanted.archer not in archers:
        do = f"known are {', '.join(archers)}"
        return InputError(f'no shot of an archer "{wanted.archer}" is stored', where="SHOTS", do=do)
    return InputError(f'no shot fits "{shots}"', where="SHOTS", do="ask for less; excluded shots are left out")


def _sets(store: Store, wanted: ShotFilter, chosen: Chosen) -> list[ArrowSet]:
    """A set for each set-up, the lightest arrow first."""
    from dataclasses import replace

    from quiethand.commands.chosen import MOST

    by_setup: dict[int, list[dict[str, Any]]] = {}
    for row in chosen.rows:
        by_setup.setdefault(row["setup_id"], []).append(row)
    names = _names({setup: rows[0] for setup, rows in by_setup.items()})
    sigmas: dict[int, list[float]] = {}
    for point in store.series(TIME, replace(wanted, excluded=False), limit=MOST):
        if point.sigma is not None:
            sigmas.setdefault(point.setup_id, []).append(point.sigma)
    found = [_set(store, setup, names[setup], rows, sigmas.get(setup, [])) for setup, rows in by_setup.items()]
    return sorted(found, key=lambda one: (one.time.mass_kg, one.setup_id))


def _names(rows: dict[int, dict[str, Any]]) -> dict[int, str]:
    """The arrow's name; with the bow's, then the set-up's number, where that names two."""
    ways = (
        {setup: row["arrow"] for setup, row in rows.items()},
        {setup: f"{row['arrow']}, {row['bow']}" for setup, row in rows.items()},
    )
    for names in ways:
        if len(set(names.values())) == len(names):
            return names
    return {setup: f"{name}, set-up {setup}" for setup, name in ways[1].items()}


def _set(store: Store, setup_id: int, name: str, rows: list[dict[str, Any]], sigmas: list[float]) -> ArrowSet:
    import numpy as np

    from quiethand.bow.launch import sensitivity_mm_per_nm
    from quiethand.bow.setup_file import setup_from_document
    from quiethand.judge.lock_time import arrow_time
    from quiethand.judge.slow_arrow import torque_set

    setup = setup_from_document(store.setup_document(setup_id) or {}, f'the set-up of "{name}"')
    time = arrow_time(setup, [row[TIME] for row in rows], arrow=name)
    on_string = time.measured_s.value if time.measured_s else time.modelled_s
    sensitivity = sensitivity_mm_per_nm(setup, on_string)
    torque, impulse = (np.array([[row[c] for c in cs] for row in rows], dtype=np.float64) for cs in (TORQUE, IMPULSE))
    made, why = None, None
    try:
        made = torque_set(name, torque, impulse, time_on_string_s=on_string, sensitivity_mm_per_nm=sensitivity)
    except InputError as wrong:
        why = "; ".join(part for part in (wrong.what, wrong.do) if part)
    sigma = math.sqrt(sum(s * s for s in sigmas) / len(sigmas)) if sigmas else None
    return ArrowSet(name, setup_id, setup, time, sigma, sensitivity, made, why)


def _held(sets: list[ArrowSet]) -> tuple[list[HeldAgainst], list[str]]:
    """Each further arrow against the first, and why not where it cannot be."""
    from quiethand.judge.slow_arrow import held_against

    with_torque = [one.torque for one in sets if one.torque is not None]
    if len(with_torque) < 2:
        return [], [f"Nothing to hold against another: {len(with_torque)} of {len(sets)} arrows show a torque."]
    found, refused = [], []
    for other in with_torque[1:]:
        try:
            found.append(held_against(with_torque[0], other))
        except InputError as wrong:
            refused.append(f"Not held against each other: {wrong.what}.")
    return found, refused


def _observed(text: str) -> Observed:
    """ "370 grain=88.1 m/s +- 0.3", the uncertainty in the speed's unit."""
    from quiethand.bow.quantities import LENGTH, MASS, quantity
    from quiethand.judge.lock_time import Observed

    match = _SPEED.fullmatch(text)
    if match is None:
        do = 'write it as in "370 grain=88.1 m/s +- 0.3"'
        raise InputError(f'"{text}" is no arrow\'s speed', where="--speed", do=do)
    mass = quantity(match["mass"], MASS, "--speed")
    speed, sigma = (
        None if number is None else quantity(f"{number} {match['unit']}", LENGTH, "--speed")
        for number in (match["speed"], match["sigma"])
    )
    return Observed(mass, speed_m_s=speed, sigma=sigma)


def _losses(sets: list[ArrowSet], observed: list[Observed]) -> Losses:
    from quiethand.judge.lock_time import losses_of

    if any(one.setup.bow != sets[0].setup.bow for one in sets):
        do = 'name the bow, as in "archer=Lane 4 bow=Winter bow", and a span of days in which it was not changed'
        raise InputError("these shots are of bows that differ, and losses are one bow's", where="--speed", do=do)
    return losses_of(sets[0].setup, observed)


def _losses_words(found: Losses) -> list[str]:
    k, lost = found.virtual_mass_kg, found.friction
    lines = [
        f"The speeds fit a virtual mass of {k.value * 1e3:.2f} g ({k.low * 1e3:.2f} to {k.high * 1e3:.2f}) and "
        f"friction that takes {100 * lost.value:.1f} % of the drawing force "
        f"({100 * lost.low:.1f} to {100 * lost.high:.1f})."
    ]
    for one, part, left in zip(found.observations, found.efficiency, found.residuals, strict=True):
        ends = f"{100 * part.low:.1f} to {100 * part.high:.1f}"
        lines.append(
            f"  an arrow of {one.arrow_mass_kg * 1e3:.2f} g takes {100 * part.value:.1f} % of the stored energy "
            f"({ends}); measured {abs(left):.2f} m/s {'faster' if left >= 0 else 'slower'} than fitted"
        )
    if lost.value < 0:
        lines.append("  friction below 0 is no friction: chance, or the curve stores more than is stated")
    return [*lines, *(f"  {note}" for note in found.notes)]


def _words(one: ArrowSet) -> list[str]:
    from quiethand.words import axis_words, shift_words

    time = one.time
    said = f"{time.modelled_s * 1e3:.2f} ms modelled"
    if time.measured_s is None:
        said += f"; {time.shots} shots show a time, too few for a mean"
    else:
        m, less = time.measured_s, time.difference_s or 0.0
        said = (
            f"{m.value * 1e3:.2f} ms measured ({m.low * 1e3:.2f} to {m.high * 1e3:.2f}, {time.shots} shots), {said}: "
            f"{abs(less) * 1e3:.2f} ms {'longer' if less >= 0 else 'shorter'} than modelled"
        )
    lines = [f'"{one.name}", {time.mass_kg * 1e3:.2f} g', f"  time on the string: {said}"]
    if one.one_shot_sigma_s is not None and time.scatter_s is not None:
        scatter = f"{time.scatter_s * 1e3:.2f} ms from shot to shot"
        lines.append(f"  it scatters by {scatter}; one shot's uncertainty is {one.one_shot_sigma_s * 1e3:.2f} ms")
    if time.modelled.curve_from == "assumed":
        lines.append("  the model's draw-force curve is assumed; a measured one would tell more of the difference")
    for axis in ("yaw", "pitch"):
        per_nm = getattr(one.sensitivity_mm_per_nm, axis)
        text = "not known without bow.inertia and the target's distance" if per_nm is None else f"{per_nm:.1f} mm"
        lines.append(f"  sensitivity, {axis}: {text}{' at the target for each N m' if per_nm is not None else ''}")
    if one.torque is None:
        return [*lines, f"  no torque: {one.no_torque_because}"]
    for part in one.torque.axes:
        t, shown = part.torque_nm, part.at_target_mm
        ends = f"{axis_words(part.axis, t.low, 'N m')} to {axis_words(part.axis, t.high, 'N m')}"
        side = {"yaw": "right", "pitch": "up"}.get(part.axis)
        at = f"; shows as {shift_words(side, shown.value)} at the target" if shown is not None and side else ""
        lines.append(f"  mean torque, {part.axis}: {axis_words(part.axis, t.value, 'N m')} ({ends}){at}")
    return lines


def _object(one: ArrowSet) -> dict[str, Any]:
    time = one.time
    return {
        "name": one.name, "setup_id": one.setup_id, "mass_kg": time.mass_kg, "shots": time.shots,
        "time_on_string_s": {
            "measured": asdict(time.measured_s) if time.measured_s else None, "scatter": time.scatter_s,
            "one_shot_sigma": one.one_shot_sigma_s, "modelled": time.modelled_s, "difference": time.difference_s,
            "curve_from": time.modelled.curve_from,
        },
        "sensitivity_mm_per_nm": asdict(one.sensitivity_mm_per_nm),
        "torque": [asdict(part) for part in one.torque.axes] if one.torque else None,
        "no_torque_because": one.no_torque_because,
    }  # fmt: skip


def _held_object(one: HeldAgainst) -> dict[str, Any]:
    compared = [{"axis": axis, **asdict(c), "shown": c.shown} for axis, c in zip(one.axes, one.torque, strict=True)]
    return {"first": one.first.name, "second": one.second.name, "magnified": one.magnified, "torque": compared}

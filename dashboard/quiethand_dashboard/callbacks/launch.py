"""Bow and arrow: set-ups from the store through the launch model to the page."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from dash import Dash, Input, Output, State, html, no_update
from quiethand.axes import Axes
from quiethand.bow.cautions import cautions_for
from quiethand.bow.launch import Launch, launch
from quiethand.bow.model import Archer, Arrow, Bow, Setup, Target
from quiethand.errors import InputError
from quiethand.store.records import ShotFilter

from quiethand_dashboard import ids
from quiethand_dashboard.callbacks.fetched import setup_of
from quiethand_dashboard.callbacks.zoom import draw_keeping_zoom, fresh
from quiethand_dashboard.figures.launch import (
    GRAIN_KG,
    LBF_N,
    ArrowPoint,
    arrows_figure,
    draw_force_figure,
    stroke_figure,
)
from quiethand_dashboard.figures.palette import Scheme
from quiethand_dashboard.figures.style import Figure, blank
from quiethand_dashboard.pages import launch_parts

if TYPE_CHECKING:
    from quiethand.store.store import Store

__all__ = ["EXAMPLE", "BowChoice", "LaunchView", "as_set", "bow_choices", "launch_view", "register"]

MOST_SHOOTERS: Final = 40  # archer, bow and arrow: a query each
SAME_MASS_KG: Final = 0.1e-3  # two steps of the slider
EXAMPLE_TORQUE_NM: Final = 0.1  # carried through each arrow where no measured torque is known

# Shown until set-ups are stored, and said to be invented wherever it is shown.
EXAMPLE: Final = Setup(
    archer=Archer("an invented archer", "right"),
    bow=Bow(
        name="an invented compound",
        kind="compound",
        peak_weight_n=50 * LBF_N,
        let_off=0.75,
        draw_length_m=28.5 * 0.0254,
        brace_height_m=7 * 0.0254,
        mass_kg=2.6,
        inertia_kg_m2=Axes(0.12, 0.16, 0.09),
    ),
    arrow=Arrow("an invented arrow", mass_kg=380 * GRAIN_KG),
    target=Target("40 cm", 18.0),
    source="the invented example",
)


@dataclass(frozen=True)
class BowChoice:
    """One archer with one bow: the set-up of the latest shot, every arrow shot from it, the archer's usual torque."""

    label: str
    setup: Setup
    arrows: tuple[Arrow, ...]
    torque_nm: float | None  # middle of the sizes of the mean yaw torques of the last shots
    invented: bool = False


class LaunchView(NamedTuple):
    """What the page's callback returns, in the order of its outputs."""

    mass_words: str
    let_off_words: str
    cautions: Any
    figures: Any
    about: str
    curve: Figure
    stroke: Figure
    arrows: Any
    arrows_figure: Figure


def bow_choices(store: Store) -> dict[str, BowChoice]:
    """Every archer and bow by the latest set-up's id, who shot last first; else the invented example."""
    newest: dict[tuple[str, str], list[Setup]] = {}
    keys: dict[tuple[str, str], str] = {}
    for s in store.shooters(limit=MOST_SHOOTERS):
        wanted = ShotFilter(archer=s.archer, bow=s.bow, arrow=s.arrow)
        setup_id = store.shot_rows(wanted, limit=1, measures=())[0]["setup_id"]
        setup = setup_of(store, setup_id)
        if setup is not None:
            newest.setdefault((s.archer, s.bow), []).append(setup)
            keys.setdefault((s.archer, s.bow), str(setup_id))
    found = {
        keys[archer, bow]: BowChoice(
            ", ".join(name for name in (bow, archer) if name) or "unnamed bow",
            setups[0],
            tuple(sorted((s.arrow for s in setups if s.arrow.mass_kg), key=lambda a: a.mass_kg or 0.0)),
            _usual_torque(store, ShotFilter(archer=archer, bow=bow)),
        )
        for (archer, bow), setups in newest.items()
    }
    return found or {
        "example": BowChoice("An invented compound, to try", EXAMPLE, (EXAMPLE.arrow,), None, invented=True)
    }


def _usual_torque(store: Store, wanted: ShotFilter, most: int = 50, least: int = 5) -> float | None:
    sizes = [abs(point.value) for point in store.series("mean_torque_yaw_nm", wanted, limit=most)]
    return float(np.median(sizes)) if len(sizes) >= least else None


def launch_view(choice: BowChoice, mass_kg: float, let_off: float | None, scheme: Scheme) -> LaunchView:
    """Everything on the page for one bow with an arrow's mass and a let-off (None: the bow's own)."""
    setup = choice.setup
    mass_words = f"{mass_kg * 1e3:.1f} g, {mass_kg / GRAIN_KG:.0f} grain"
    shown = setup.bow.let_off if let_off is None else let_off
    let_off_words = "not for this bow" if shown is None else f"{100 * shown:.0f} %"
    warned = [html.P(["Caution: ", text]) for text in cautions_for(setup, arrow_mass_kg=mass_kg)]
    try:
        tried = launch(setup, arrow_mass_kg=mass_kg, let_off=let_off)
    except InputError as wrong:
        nothing = blank(scheme, "No launch model for this set-up.")
        return LaunchView(
            mass_words, let_off_words, [*warned, html.P(str(wrong))], [], "", nothing, nothing, [], nothing
        )
    own = _or_none(setup)
    torque = choice.torque_nm or EXAMPLE_TORQUE_NM
    arrows = _side_by_side(choice, tried, let_off)
    return LaunchView(
        mass_words,
        let_off_words,
        warned,
        launch_parts.figures(tried, own, setup.target.distance_m),
        launch_parts.about(tried, invented=choice.invented),
        draw_force_figure(tried, own, scheme),
        stroke_figure(tried, own, scheme),
        launch_parts.table(arrows, torque, own_torque=choice.torque_nm is not None),
        arrows_figure(
            _line(setup, let_off, torque),
            [_point(name, run, torque, here) for name, run, here in arrows],
            torque,
            scheme,
        ),
    )


def _or_none(setup: Setup, mass_kg: float | None = None, let_off: float | None = None) -> Launch | None:
    try:
        return launch(setup, arrow_mass_kg=mass_kg, let_off=let_off)
    except InputError:
        return None


def _side_by_side(choice: BowChoice, tried: Launch, let_off: float | None) -> list[tuple[str, Launch, bool]]:
    """Name, launch, and whether the slider is at it: each of the archer's arrows, and the slider's unless it is one."""
    runs = [(arrow.name or "unnamed arrow", _or_none(choice.setup, arrow.mass_kg, let_off)) for arrow in choice.arrows]
    found = [(name, run, _same_mass(run, tried)) for name, run in runs if run is not None]
    if not any(here for _, _, here in found):
        found.append(("as set here", tried, True))
    return sorted(found, key=lambda arrow: arrow[1].arrow_mass_kg)


def _same_mass(one: Launch, other: Launch) -> bool:
    return abs(one.arrow_mass_kg - other.arrow_mass_kg) < SAME_MASS_KG


def _line(setup: Setup, let_off: float | None, torque_nm: float, points: int = 15) -> list[ArrowPoint]:
    runs = [_or_none(setup, float(mass), let_off) for mass in np.linspace(0.012, 0.045, points)]
    return [_point("", run, torque_nm, False) for run in runs if run is not None]


def _point(name: str, run: Launch, torque_nm: float, tried: bool) -> ArrowPoint:
    return ArrowPoint(name, run.arrow_mass_kg, run.time_on_string_s, _worth(run, torque_nm), tried)


def _worth(run: Launch, torque_nm: float) -> float | None:
    sensitivity = run.sensitivity_mm_per_nm.yaw
    return None if sensitivity is None else sensitivity * torque_nm


def as_set(choice: BowChoice, mass_g: float, let_off_percent: float) -> tuple[float, float | None]:
    """Arrow's mass in kg and let-off from the sliders; None where the let-off is the set-up's own.

    A slider stands on whole steps. On the step next to the set-up's own value that value is meant.
    """
    own, mass_kg = choice.setup.arrow.mass_kg, mass_g / 1e3
    if own is not None and abs(own - mass_kg) <= SAME_MASS_KG / 2:
        mass_kg = own
    held = choice.setup.bow.let_off
    fixed = held is None or abs(100 * held - let_off_percent) <= 0.5
    return mass_kg, None if fixed else let_off_percent / 100


def register(app: Dash, store: Store) -> None:
    draw_keeping_zoom(app, [ids.LAUNCH_CURVE, ids.LAUNCH_STROKE, ids.LAUNCH_ARROWS_FIGURE])

    @app.callback(
        Output(ids.LAUNCH_BOW, "data"),
        Output(ids.LAUNCH_BOW, "value"),
        Input(ids.TOKEN, "data"),
        State(ids.LAUNCH_BOW, "value"),
    )
    def _bows(_: Any, chosen: str | None) -> tuple[Any, Any]:
        choices = bow_choices(store)
        data = [{"value": key, "label": choice.label} for key, choice in choices.items()]
        return data, no_update if chosen in choices else next(iter(choices))

    @app.callback(
        Output(ids.LAUNCH_MASS, "value"),
        Output(ids.LAUNCH_LET_OFF, "value"),
        Output(ids.LAUNCH_LET_OFF, "disabled"),
        Input(ids.LAUNCH_BOW, "value"),
        prevent_initial_call=True,
    )
    def _start(key: str | None) -> tuple[Any, Any, bool]:
        choice = bow_choices(store).get(key or "")
        if choice is None:
            return no_update, no_update, False
        own = choice.setup.bow.let_off
        mass = choice.setup.arrow.mass_kg or EXAMPLE.arrow.mass_kg or math.nan
        return round(mass * 1e3, 1), 0 if own is None else round(100 * own), own is None

    @app.callback(
        Output(ids.LAUNCH_MASS_WORDS, "children"),
        Output(ids.LAUNCH_LET_OFF_WORDS, "children"),
        Output(ids.LAUNCH_CAUTIONS, "children"),
        Output(ids.LAUNCH_FIGURES, "children"),
        Output(ids.LAUNCH_ABOUT, "children"),
        fresh(ids.LAUNCH_CURVE),
        fresh(ids.LAUNCH_STROKE),
        Output(ids.LAUNCH_ARROWS, "children"),
        fresh(ids.LAUNCH_ARROWS_FIGURE),
        Input(ids.LAUNCH_MASS, "value"),
        Input(ids.LAUNCH_LET_OFF, "value"),
        Input(ids.LAUNCH_LET_OFF, "disabled"),
        Input(ids.SCHEME_SHOWN, "data"),
        State(ids.LAUNCH_BOW, "value"),
        prevent_initial_call=True,
    )
    def _launch(mass_g: float, let_off_percent: float, _: bool, scheme: Scheme | None, key: str | None) -> Any:
        choice = bow_choices(store).get(key or "")
        if choice is None:
            return [no_update] * len(LaunchView._fields)
        return launch_view(choice, *as_set(choice, mass_g, let_off_percent), scheme or "light")

"""What a set-up's values say about each other: contradictions are refused, oddities are noted."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from quiethand.bow.model import Bow, Setup
from quiethand.errors import InputError

__all__ = ["ATA_EXTRA_M", "LENGTH_SLACK_M", "consistent", "full_draw_m"]

ATA_EXTRA_M: Final = 1.75 * 0.0254  # ATA (AMO) draw length is string to pivot point plus 1 3/4 in (ASTM F1880-09, 3.2)
LENGTH_SLACK_M: Final = 0.00635  # a quarter of an inch: what two readings of the same length may differ by
FLAT_BODY_SLACK: Final = 0.10  # a moment from a swing's period is seldom better than some per cent


def full_draw_m(bow: Bow) -> float | None:
    """String to pivot point at full draw: the ATA draw length less 1.75 in."""
    return None if bow.draw_length_m is None else bow.draw_length_m - ATA_EXTRA_M


def consistent(setup: Setup, notes: tuple[str, ...] = ()) -> Setup:
    """The set-up with its notes, if its values agree with each other.

    Raises:
        InputError: two values contradict each other.
    """
    _inputs(setup)
    found = [*notes, *_lengths(setup), *_weights(setup), *_inertia(setup)]
    return replace(setup, notes=tuple(found))


def _inputs(setup: Setup) -> None:
    inputs = setup.events
    for name in ("release", "rest"):
        if getattr(inputs, f"{name}_value") is not None and getattr(inputs, f"{name}_channel") is None:
            what, do = f"{name}_value without {name}_channel", f"say which input it is: {name}_channel = 1"
            raise InputError(what, where=f"{setup.source}: events", do=do)
    if inputs.release_channel is not None and inputs.release_channel == inputs.rest_channel:
        do = "a switch at the release and a gate at the rest are two inputs"
        raise InputError(f"channel {inputs.rest_channel} is both", where=f"{setup.source}: events", do=do)


def _lengths(setup: Setup) -> list[str]:
    bow, where = setup.bow, f"{setup.source}: bow"
    full, brace, curve = full_draw_m(bow), bow.brace_height_m, bow.draw_force_curve
    if full is not None and full <= 0:
        what = f"{_length(bow.draw_length_m)} is too short: draw length is string to pivot point plus 1.75 in"
        raise InputError(what, where=f"{where}.draw_length", do="measure again")
    if full is not None and brace is not None and brace >= full:
        raise InputError(
            f"{_length(brace)} is not under the string's place at full draw, {_length(full)} "
            f"(draw length {_length(bow.draw_length_m)} less 1.75 in)",
            where=f"{where}.brace_height",
            do="brace height is string to pivot point, undrawn; are the two swapped?",
        )
    if brace is not None and brace + bow.rest_m < 0:
        do = "rest is pivot point to rest, + towards the target; mostly near 0"
        raise InputError(f"{_length(bow.rest_m)} lies behind the undrawn string", where=f"{where}.rest", do=do)
    if curve is None:
        return []
    first, last = curve[0][0], curve[-1][0]
    pivot = "the curve's lengths are string to pivot point, without the 1.75 in of the draw length"
    if brace is not None and abs(first - brace) > LENGTH_SLACK_M:
        what = f"the curve starts at {_length(first)}, brace height is {_length(brace)}"
        raise InputError(what, where=f"{where}.draw_force_curve[0]", do=f"start the curve at brace height; {pivot}")
    if full is not None and last < full - LENGTH_SLACK_M:
        what = f"the curve ends at {_length(last)}, full draw is {_length(full)}"
        raise InputError(what, where=f"{where}.draw_force_curve", do=f"measure to full draw; {pivot}")
    if full is not None and last > full + LENGTH_SLACK_M:
        return [f"the draw-force curve goes on to {_length(last)}; it is used up to full draw, {_length(full)}"]
    return []


def _weights(setup: Setup) -> list[str]:
    bow, where = setup.bow, f"{setup.source}: bow"
    notes: list[str] = []
    if bow.kind == "recurve" and bow.let_off:
        do = 'leave it out, or write kind = "compound"'
        raise InputError(f"{bow.let_off:g} for a recurve, which has none", where=f"{where}.let_off", do=do)
    if bow.draw_force_curve is None:
        return notes
    peak, holding = max(force for _, force in bow.draw_force_curve), bow.draw_force_curve[-1][1]
    by_curve = "; the launch model goes by the curve"
    if bow.peak_weight_n is not None and abs(peak / bow.peak_weight_n - 1) > 0.05:
        notes.append(
            f"the draw-force curve peaks at {peak:.1f} N, peak_weight says {bow.peak_weight_n:.1f} N{by_curve}"
        )
    let_off = 1 - holding / peak
    if bow.let_off is not None and abs(let_off - bow.let_off) > 0.05:
        notes.append(f"the draw-force curve lets off {let_off:.2f} of its peak, let_off says {bow.let_off:g}{by_curve}")
    return notes


def _inertia(setup: Setup) -> list[str]:
    if setup.bow.inertia_kg_m2 is None:
        return []
    known = {axis: value for axis in ("cant", "pitch", "yaw") if (value := getattr(setup.bow.inertia_kg_m2, axis))}
    if len(known) < 3:
        return []
    axis, largest = max(known.items(), key=lambda item: item[1])
    others = sum(known.values()) - largest
    if largest > others * (1 + FLAT_BODY_SLACK):
        raise InputError(
            f"{axis} is {largest:.4g} kg m^2, more than the other two together ({others:.4g}); no body is like that",
            where=f"{setup.source}: bow.inertia",
            do="check the unit and the measurement of all three",
        )
    if largest > others:
        return [f"inertia: {axis} is a little more than the other two together, which no body can have; measure again"]
    return []


def _length(metres: float | None) -> str:
    return "unknown" if metres is None else f"{metres / 0.0254:.4g} in ({metres * 1000:.4g} mm)"

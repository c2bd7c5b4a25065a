"""A group in plain words."""

from __future__ import annotations

from quiethand.judge.group import Group, Interval, Scores
from quiethand.words import shift_words

__all__ = ["group_words", "interval_words", "score_words"]


def interval_words(found: Interval, unit: str = "mm", digits: int = 1) -> str:
    """ "31.2 mm (26.0 to 39.4)" """
    return f"{found.value:.{digits}f} {unit} ({found.low:.{digits}f} to {found.high:.{digits}f})"


def group_words(found: Group) -> tuple[str, ...]:
    """Centre, size and shape, a sentence each; intervals are 95 %."""
    centre = []
    for side, place in (("right", found.centre_right_mm), ("up", found.centre_up_mm)):
        reach = (place.high - place.low) / 2
        surely = "" if abs(place.value) > reach else ", not told from the middle"
        centre.append(f"{shift_words(side, place.value)} plus or minus {reach:.1f}{surely}")
    said = [
        f"The centre of {found.impacts} impacts lies {', '.join(centre)}.",
        f"Half of all shots fall within {interval_words(found.cep_mm)} of the group's own centre; the mean distance "
        f"from it is {interval_words(found.mean_radius_mm)}.",
        f"Spread: right and left {interval_words(found.sd_right_mm)}, up and down {interval_words(found.sd_up_mm)} "
        "(standard deviations).",
    ]
    shape = found.ellipse
    if shape.long:
        turn = abs(shape.angle_deg)
        way = "" if turn < 0.5 else (" up to the right" if shape.angle_deg > 0 else " up to the left")
        lies = "level" if turn < 0.5 else f"{turn:.0f} deg from level,{way}"
        said.append(
            f"The group is longer one way: {interval_words(shape.major_sd_mm)} against "
            f"{interval_words(shape.minor_sd_mm)}; its long axis is {lies} (plus or minus "
            f"{min(2 * shape.angle_sigma_deg, 90):.0f})."
        )
    else:
        said.append(f"With {found.impacts} impacts its shape cannot be told from round.")
    return tuple(said)


def score_words(found: Scores) -> tuple[str, ...]:
    arrows = len(found.points)
    said = [
        f"{found.total} points with {arrows} arrows on the {found.face} face, {found.mean:.2f} an arrow; {found.tens} "
        f"tens, {found.inner_tens} of them inner tens."
    ]
    if found.close_calls:
        said.append(f"{len(found.close_calls)} lie so near a line that the places given cannot decide them.")
    return tuple(said)

"""The colours: Okabe and Ito's palette, and one colour for each axis everywhere.

M. Okabe and K. Ito, "Color Universal Design" (2008): colours that people of any colour vision tell apart. Of the
eight, the axes take the three whose contrast is over 3:1 on white and on the dark page alike (WCAG 2.2, 1.4.11), so
that an axis keeps its colour when the page turns dark. Nothing is told by colour alone.
"""

from __future__ import annotations

from typing import Final

__all__ = ["AXIS_COLOURS", "OKABE_ITO"]

OKABE_ITO: Final = {
    "black": "#000000",
    "orange": "#E69F00",
    "sky blue": "#56B4E9",
    "bluish green": "#009E73",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "vermillion": "#D55E00",
    "reddish purple": "#CC79A7",
}

AXIS_COLOURS: Final = {
    "cant": OKABE_ITO["bluish green"],
    "pitch": OKABE_ITO["vermillion"],
    "yaw": OKABE_ITO["blue"],
}

"""Every id that a layout and a callback share, and nothing else. One name, one component."""

from __future__ import annotations

from typing import Any, Final

# the shell
URL: Final = "url"
PAGE: Final = "page"
NAVIGATION: Final = "navigation"
SCHEME: Final = "scheme"
SCHEME_SHOWN: Final = "scheme-shown"  # "dark" or "light", whoever chose it
ZONE: Final = "zone"
PULSE: Final = "pulse"
TOKEN: Final = "token"
WIDTH: Final = "width"  # "narrow" or "wide": whether a table has room for all its columns
TITLE: Final = "title"  # the document's, as it was set last
SENSOR: Final = "sensor"
NOTICE: Final = "notice"
ANNOUNCE: Final = "announce"
TROUBLE: Final = "trouble"  # what went wrong in a callback, in one sentence

# the latest shot
LATEST_EMPTY: Final = "latest-empty"
LATEST_BODY: Final = "latest-body"
LATEST_SHOWN: Final = "latest-shown"
LATEST_HEAD: Final = "latest-head"
LATEST_SENTENCE: Final = "latest-sentence"
LATEST_FIGURES: Final = "latest-figures"
LATEST_FLAGS: Final = "latest-flags"
LATEST_BAND: Final = "latest-band"
LATEST_NOTES: Final = "latest-notes"
LATEST_RECENT: Final = "latest-recent"
LATEST_RECENT_FIGURE: Final = "latest-recent-figure"
LATEST_REJECTED: Final = "latest-rejected"
LATEST_BUDGET: Final = "latest-budget"

# comparing
COMPARE_URL: Final = "compare-url"  # the page's own view of the address, so that its callbacks rest with the page
COMPARE_GRID: Final = "compare-grid"
COMPARE_COLUMNS: Final = "compare-columns"  # of the grid, for either width
COMPARE_EMPTY: Final = "compare-empty"
COMPARE_BODY: Final = "compare-body"
COMPARE_CHOSEN: Final = "compare-chosen"
COMPARE_EXCESS: Final = "compare-excess"
COMPARE_TABLE: Final = "compare-table"
COMPARE_CLEAR: Final = "compare-clear"
COMPARE_CSV: Final = "compare-csv"
COMPARE_CSV_DATA: Final = "compare-csv-data"

# comparing sets
SETS_URL: Final = "sets-url"
SETS_EMPTY: Final = "sets-empty"
SETS_BODY: Final = "sets-body"
SETS_COUNTS: Final = "sets-counts"
SETS_WORDS: Final = "sets-words"
SETS_TABLE: Final = "sets-table"
SETS_CSV: Final = "sets-csv"
SETS_CSV_DATA: Final = "sets-csv-data"

# over time
OVER_URL: Final = "over-url"
OVER_EMPTY: Final = "over-empty"
OVER_BODY: Final = "over-body"
OVER_WHO: Final = "over-who"
OVER_MEASURE: Final = "over-measure"
OVER_BY: Final = "over-by"
OVER_WORDS: Final = "over-words"
OVER_FIGURE: Final = "over-figure"
OVER_CHANGES: Final = "over-changes"
OVER_ABOUT: Final = "over-about"
OVER_CSV: Final = "over-csv"
OVER_CSV_DATA: Final = "over-csv-data"

# bow and arrow
LAUNCH_BOW: Final = "launch-bow"
LAUNCH_MASS: Final = "launch-mass"
LAUNCH_LET_OFF: Final = "launch-let-off"
LAUNCH_MASS_WORDS: Final = "launch-mass-words"
LAUNCH_LET_OFF_WORDS: Final = "launch-let-off-words"
LAUNCH_FIGURES: Final = "launch-figures"
LAUNCH_CAUTIONS: Final = "launch-cautions"
LAUNCH_CURVE: Final = "launch-curve"
LAUNCH_STROKE: Final = "launch-stroke"
LAUNCH_ARROWS: Final = "launch-arrows"
LAUNCH_ARROWS_FIGURE: Final = "launch-arrows-figure"
LAUNCH_ABOUT: Final = "launch-about"

# the group on the target
GROUP_URL: Final = "group-url"
GROUP_EMPTY: Final = "group-empty"
GROUP_BODY: Final = "group-body"
GROUP_ARCHER: Final = "group-archer"
GROUP_ARROW: Final = "group-arrow"
GROUP_FROM: Final = "group-from"
GROUP_TO: Final = "group-to"
GROUP_FACE_NAME: Final = "group-face-name"
GROUP_FACE: Final = "group-face"
GROUP_TAPPED: Final = "group-tapped"  # where the face was tapped, in mm
GROUP_SHOT: Final = "group-shot"  # whose impact comes next
GROUP_RIGHT: Final = "group-right"
GROUP_UP: Final = "group-up"
GROUP_SHAFT: Final = "group-shaft"
GROUP_ADD: Final = "group-add"
GROUP_BACK: Final = "group-back"
GROUP_FILE: Final = "group-file"
GROUP_TOLD: Final = "group-told"
GROUP_WORDS: Final = "group-words"
GROUP_BESIDE: Final = "group-beside"
GROUP_EXPLAINED: Final = "group-explained"
GROUP_TABLE: Final = "group-table"
GROUP_CSV: Final = "group-csv"
GROUP_CSV_DATA: Final = "group-csv-data"

# the set-up
SETUP_WHO: Final = "setup-who"
SETUP_UNITS: Final = "setup-units"
SETUP_BODY: Final = "setup-body"
SETUP_EMPTY: Final = "setup-empty"
SETUP_SAVE: Final = "setup-save"
SETUP_FROM: Final = "setup-from"
SETUP_WHY: Final = "setup-why"
SETUP_NEW_ARCHER: Final = "setup-new-archer"
SETUP_NEW_BOW: Final = "setup-new-bow"
SETUP_TOLD: Final = "setup-told"
SETUP_VERSIONS: Final = "setup-versions"
LIMIT_MEASURE: Final = "limit-measure"
LIMIT_VALUE: Final = "limit-value"
LIMIT_FROM: Final = "limit-from"
LIMIT_SET: Final = "limit-set"
LIMIT_LIFT: Final = "limit-lift"
LIMIT_TOLD: Final = "limit-told"
LIMIT_TABLE: Final = "limit-table"

# one shot by itself
SHOT_URL: Final = "shot-url"
SHOT_GONE: Final = "shot-gone"
SHOT_BODY: Final = "shot-body"
SHOT_HEAD: Final = "shot-head"
SHOT_ACCELERATION: Final = "shot-acceleration"
SHOT_RATE: Final = "shot-rate"
SHOT_RELEASE: Final = "shot-release"
SHOT_DEPARTURE: Final = "shot-departure"
SHOT_WHY: Final = "shot-why"
SHOT_KEEP: Final = "shot-keep"
SHOT_WITHDRAW: Final = "shot-withdraw"
SHOT_INSTANTS: Final = "shot-instants"
SHOT_TOLD: Final = "shot-told"
SHOT_KNOWN: Final = "shot-known"  # the computed instants that the fields are relative to


def marks(page: str, part: str) -> str:
    """A part of the marks of a page: "shot" or "compare"."""
    return f"{page}-marks-{part}"


def set_field(which: str, name: str) -> str:
    """A field that narrows set "a" or "b"."""
    return f"sets-{which}-{name}"


def spread_graph(axis: str) -> str:
    """The graph of each shot's turn about one axis, set beside set."""
    return f"sets-spread-{axis}"


def remove_impact(impact_id: Any) -> dict[str, Any]:
    """The button that takes an impact away; callbacks listen to all of them with Dash's ALL in place of an id."""
    return {"type": "remove-impact", "impact": impact_id}


def setup_field(table: str, key: str) -> str:
    """A field of the set-up's form, named as in its file."""
    return f"setup-{table}-{key}"


def trace_graph(page: str, axis: str) -> str:
    """The graph of one axis' traces on a page: "latest" or "compare"."""
    return f"{page}-traces-{axis}"


def parts_graph(axis: str) -> str:
    """The graph of where the turn about one axis came from."""
    return f"latest-parts-{axis}"


def fresh_figure(graph: str) -> str:
    """The store that a graph is drawn from."""
    return f"{graph}-fresh"


def save_button(figure: str, image: str) -> dict[str, str]:
    """The button that saves a figure; `image` is "png" or "svg", or "csv" for the data in it."""
    return {"type": "save", "figure": figure, "image": image}

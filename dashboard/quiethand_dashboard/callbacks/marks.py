"""Marks: from the form into the store, and what is stored back onto the page. The store tells every open page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, ctx, no_update
from quiethand.errors import InputError

from quiethand_dashboard import ids, telling
from quiethand_dashboard.callbacks.trouble import ask
from quiethand_dashboard.pages.marks import said_of

if TYPE_CHECKING:
    from datetime import tzinfo

    from quiethand.store.store import Store

__all__ = ["mark", "marks_view", "register"]

_BUTTONS = ("tag", "untag", "call", "add", "exclude", "include")


def mark(store: Store, shots: Sequence[int], what: str, tags: Sequence[str], called: str, remark: str) -> str:
    """Do what a button of the form says; returns the sentence on it.

    Raises:
        InputError: nothing is chosen, or the field that it takes is empty.
    """
    if not shots:
        raise InputError("no shot is chosen", do="choose some first")
    count = "1 shot" if len(shots) == 1 else f"{len(shots)} shots"
    if what in ("tag", "untag"):
        if not tags:
            raise InputError("no tag is written", do="write a word and press Enter")
        change = store.add_tag if what == "tag" else store.remove_tag
        for word in tags:
            change(shots, word)
        return f"{'Tagged' if what == 'tag' else 'Took the tags off'} {count}: {', '.join(tags)}."
    if what == "call":
        for shot in shots:
            store.call_shot(shot, word=called)
        return f"Kept the call of {count}." if called.strip() else f"Took the call off {count}."
    if what == "add":
        for shot in shots:
            store.add_remark(shot, remark)
        return f"Added the remark to {count}."
    if what == "exclude":
        if not remark.strip():
            raise InputError("a shot is left out with a reason", do="write it into the remark")
        store.exclude(shots, remark)
        return f"Left {count} out of usual, comparisons and groups. What was measured stays."
    store.include_again(shots)
    return f"{count[0].upper() + count[1:]} count{'s' if len(shots) == 1 else ''} again."


def marks_view(store: Store, shots: Sequence[int], zone: tzinfo) -> tuple[Any, list[str]]:
    """All that is noted about the chosen shots, and the tags in use to choose from."""
    found = store.marks(shots)
    names = {i: f"{letter}:" for letter, i in zip("ABCDEF", shots, strict=False)}
    return said_of(found, shots, names, zone), store.tags()


def register(app: Dash, store: Store, page: str, url_id: str, chosen: Callable[[str | None], Sequence[int]]) -> None:
    """Connect the form of a page; `chosen` gives the shots that its address names."""

    def part(name: str) -> str:
        return ids.marks(page, name)

    @app.callback(
        Output(part("told"), "children"),
        Output(part("tags"), "value"),
        Output(part("called"), "value"),
        Output(part("remark"), "value"),
        *(Input(part(button), "n_clicks") for button in _BUTTONS),
        State(part("tags"), "value"),
        State(part("called"), "value"),
        State(part("remark"), "value"),
        State(url_id, "search"),
        prevent_initial_call=True,
    )
    def _mark(*given: Any) -> Any:
        tags, called, remark, search = given[-4:]
        what = str(ctx.triggered_id).rpartition("-")[2]
        done = ask(lambda: mark(store, list(chosen(search)), what, tags or [], called or "", remark or ""))
        kept = no_update if done.className == "refused" else None
        return (
            done,
            [] if kept is None and what in ("tag", "untag") else no_update,
            "" if kept is None and what == "call" else no_update,
            "" if kept is None and what in ("add", "exclude") else no_update,
        )

    @app.callback(
        Output(part("said"), "children"),
        Output(part("tags"), "data"),
        Input(url_id, "search"),
        Input(ids.TOKEN, "data"),
        Input(ids.ZONE, "data"),
    )
    def _said(search: str | None, _: Any, zone: str | None) -> tuple[Any, Any]:
        return marks_view(store, list(chosen(search)), telling.zone_of(zone))

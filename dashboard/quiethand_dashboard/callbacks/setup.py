"""Set-up: versions and limits from the form into the store, and what holds back onto the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import parse_qsl, urlencode

from dash import Dash, Input, Output, State, ctx, html, no_update
from quiethand.bow.limit_names import LIMIT_MEASURES
from quiethand.errors import InputError

from quiethand_dashboard import ids, telling
from quiethand_dashboard.callbacks.trouble import ask
from quiethand_dashboard.stated_setup import FORM, Units, document_of, shown

if TYPE_CHECKING:
    from quiethand.store.store import Store

__all__ = ["limits_table", "register", "save_version", "set_limit", "stated", "who_data"]

NEW: Final = "new"


def who_data(store: Store) -> list[dict[str, str]]:
    """Every archer with a bow, who shot last first, then those with a version alone; and a new one."""
    pairs = [(s.archer, s.bow) for s in store.shooters()] + [(v.archer, v.bow) for v in store.setup_versions()]
    found = [
        {"value": urlencode({"archer": archer, "bow": bow}), "label": ", ".join(n for n in (archer, bow) if n) or "–"}
        for archer, bow in dict.fromkeys(pairs)
    ]
    return [*found, {"value": NEW, "label": "a new archer or bow"}]


def _pair(who: str | None) -> tuple[str, str]:
    fields = dict(parse_qsl(who or "", keep_blank_values=True))
    return fields.get("archer", "")[:200], fields.get("bow", "")[:200]


def stated(store: Store, who: str | None) -> Mapping[str, Any]:
    """The set-up in force for an archer and bow: the last version, else what the last shot was measured with."""
    archer, bow = _pair(who)
    version = store.setup_in_force(archer, bow)
    if version is not None:
        return version.document
    newest = store.latest_shots(1, archer=archer, bow=bow) if who and who != NEW else []
    return (store.setup_document(newest[0].setup_id) or {}) if newest else {}


def save_version(
    store: Store, who: str | None, archer: str, bow: str, texts: Mapping[tuple[str, str], str], units: Units,
    from_day: str, why: str,
) -> str:  # fmt: skip
    """Keep what the form says as a version.

    Raises:
        InputError: no name, a quantity that is none, or no day.
    """
    if not archer.strip() or not bow.strip():
        raise InputError("archer and bow need a name", do="write both")
    document = document_of(stated(store, who), texts, archer.strip(), bow.strip(), units)
    version = store.add_setup_version(
        archer.strip(), bow.strip(), document, from_day=from_day.strip() or None, remark=why
    )
    day = next(v.from_day for v in store.setup_versions(archer.strip(), bow.strip()) if v.id == version)
    return f"Saved for {archer.strip()} with {bow.strip()} from {telling.day_in_words(day)} on."


def set_limit(store: Store, who: str | None, measure: str | None, value: Any, from_day: str, *, lift: bool) -> str:
    """Set or lift a limit of an archer and bow from a day on.

    Raises:
        InputError: nobody is chosen, or no number is given.
    """
    archer, bow = _pair(who)
    if not who or who == NEW:
        raise InputError("nobody is chosen", do="choose an archer and bow above")
    if not lift and not isinstance(value, int | float):
        raise InputError("no limit is written", do="write a number above zero")
    name = measure or ""
    store.set_limit(name, None if lift else float(value), archer=archer, bow=bow, from_day=from_day.strip() or None)
    one = LIMIT_MEASURES[name]
    return f"{'Lifted' if lift else 'Set'}: {one.text}{'' if lift else f', {value:g} {one.unit}'}."


def limits_table(store: Store, who: str | None) -> Any:
    """What holds today for an archer and bow, from the set-up and from this page."""
    archer, bow = _pair(who)
    typed = store.limits(archer, bow)
    own = stated(store, who).get("limits")
    rows = [(LIMIT_MEASURES[n].text, f"{one.value:g} {one.unit}", telling.day_in_words(one.from_day))
            for n, one in typed.items()]  # fmt: skip
    if isinstance(own, Mapping):
        rows += [(LIMIT_MEASURES[n].text, str(v), "stated in the set-up") for n, v in own.items()
                 if n in LIMIT_MEASURES and n not in typed]  # fmt: skip
    if not rows:
        return html.P("No limit is set; the ten ring's radius bounds the pointing shift.", className="quiet")
    head = html.Thead(html.Tr([html.Th(text, scope="col") for text in ("Measure", "Limit", "From")]))
    body = [html.Tr([html.Th(first, scope="row"), *(html.Td(cell) for cell in rest)]) for first, *rest in rows]
    table = html.Table([head, html.Tbody(body)], className="plain-table roomy")
    return html.Div(table, className="wide", tabIndex="0", role="region", **{"aria-label": "Limits in force"})


def _versions(store: Store, who: str | None) -> Any:
    found = store.setup_versions(*_pair(who), limit=20)
    if not found:
        return html.P("No version yet: shown is what the last shot was measured with.", className="quiet")
    return html.Ul(
        [
            html.Li([html.B(f"from {telling.day_in_words(v.from_day)}"), f" {v.remark}" if v.remark else ""])
            for v in found
        ]
    )


def register(app: Dash, store: Store) -> None:
    fields = [ids.setup_field(field.table, field.key) for field in FORM]

    @app.callback(
        Output(ids.SETUP_WHO, "data"),
        Output(ids.SETUP_WHO, "value"),
        Input(ids.TOKEN, "data"),
        State(ids.SETUP_WHO, "value"),
    )
    def _who(_: Any, now: str | None) -> tuple[Any, Any]:
        data = who_data(store)
        return data, no_update if now in [one["value"] for one in data] else data[0]["value"]

    @app.callback(
        Output(ids.SETUP_NEW_ARCHER, "value"),
        Output(ids.SETUP_NEW_BOW, "value"),
        *(Output(field, "value") for field in fields),
        Input(ids.SETUP_WHO, "value"),
        Input(ids.SETUP_UNITS, "value"),
        Input(ids.SETUP_TOLD, "children"),
    )
    def _fill(who: str | None, units: Units | None, told: Any) -> list[Any]:
        if ctx.triggered_id == ids.SETUP_TOLD and (told or {}).get("props", {}).get("className") != "done":
            return [no_update] * (2 + len(fields))  # refused: what was typed stays
        document = stated(store, who)
        texts = [shown(document, field, units or "metric") for field in FORM]
        return [*_pair(who), *(text or None if f.choices else text for text, f in zip(texts, FORM, strict=True))]

    @app.callback(
        Output(ids.SETUP_VERSIONS, "children"),
        Output(ids.LIMIT_TABLE, "children"),
        Input(ids.SETUP_WHO, "value"),
        Input(ids.TOKEN, "data"),
    )
    def _held(who: str | None, _: Any) -> tuple[Any, Any]:
        return _versions(store, who), limits_table(store, who)

    @app.callback(
        Output(ids.SETUP_TOLD, "children"),
        Input(ids.SETUP_SAVE, "n_clicks"),
        State(ids.SETUP_WHO, "value"),
        State(ids.SETUP_NEW_ARCHER, "value"),
        State(ids.SETUP_NEW_BOW, "value"),
        State(ids.SETUP_UNITS, "value"),
        State(ids.SETUP_FROM, "value"),
        State(ids.SETUP_WHY, "value"),
        *(State(field, "value") for field in fields),
        prevent_initial_call=True,
    )
    def _save(_: Any, who: str | None, archer: str | None, bow: str | None, units: Any, *rest: Any) -> Any:
        day, why, *values = rest
        texts = {(field.table, field.key): value or "" for field, value in zip(FORM, values, strict=True)}
        return ask(
            lambda: save_version(store, who, archer or "", bow or "", texts, units or "metric", day or "", why or "")
        )

    @app.callback(
        Output(ids.LIMIT_TOLD, "children"),
        Input(ids.LIMIT_SET, "n_clicks"),
        Input(ids.LIMIT_LIFT, "n_clicks"),
        State(ids.SETUP_WHO, "value"),
        State(ids.LIMIT_MEASURE, "value"),
        State(ids.LIMIT_VALUE, "value"),
        State(ids.LIMIT_FROM, "value"),
        prevent_initial_call=True,
    )
    def _limit(_: Any, __: Any, who: str | None, measure: str | None, value: Any, day: str | None) -> Any:
        lift = ctx.triggered_id == ids.LIMIT_LIFT
        return ask(lambda: set_limit(store, who, measure, value, day or "", lift=lift))

"""The notebook's functions. Whatever cannot be used is an `InputError` whose text is one line."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING, Any, Literal

from quiethand.errors import InputError
from quiethand.notebook.sources import Path_, Source, opened_store, recordings_of, setup_of, wanted_shots

if TYPE_CHECKING:
    import pandas as pd

    from quiethand.bow.launch import Launch
    from quiethand.bow.model import Setup
    from quiethand.shots.model import Trace

__all__ = ["launch", "measured_rows", "measures", "read", "rejected", "shots", "trace"]


def read(
    path: Path_, setup: Setup | Path_ | None = None, *, start_s: float | None = None, end_s: float | None = None
) -> pd.DataFrame:
    """A recording's samples, one row each, in the bow frame with calibration and mount applied.

    Args:
        path: `.qhr`, a raw capture, text mode or CSV.
        setup: a set-up or its file; None: the recording's own.
        start_s, end_s: only this stretch of the recording's time.

    Returns:
        Columns `t_s` (the recording's time, zero at the first sample), `ax_m_s2`, `ay_m_s2`, `az_m_s2` (specific
        force), `gx_deg_s`, `gy_deg_s`, `gz_deg_s` (rate of turn), `segment`, `sample` (counted from the segment's
        first, lost ones too), `accel_clipped`, `gyro_clipped`. They are the names that a CSV has for `analyse`. Times
        are the samples' own; the filters' delays stand in `frame.attrs` with rate and notes.

    Raises:
        InputError: it cannot be read.
    """
    from quiethand.link.files import open_motion
    from quiethand.notebook.samples import frame_of, within

    source = open_motion(os.fspath(path), setup_of(setup))
    blocks = list(within(source, start_s, end_s))
    frame = frame_of(blocks)
    facts = source.facts
    frame.attrs = {"recording": source.name, "rate_hz": facts.rate_hz, "notes": list(facts.notes)}
    for name in ("accel_delay_s", "gyro_delay_s"):
        frame.attrs[name] = getattr(blocks[-1], name) if blocks else None
    return frame


def shots(
    source: Source = None,
    *,
    setup: Setup | Path_ | None = None,
    archer: str | None = None,
    bow: str | None = None,
    arrow: str | None = None,
    since: str | date | None = None,
    until: str | date | None = None,
    tag: str | None = None,
) -> pd.DataFrame:
    """Shots, one row each, the oldest first; every measure with its unit in the column's name, as `measures()` has it.

    Args:
        source: a recording or several, which are measured now; a store or its URL; None: the store in the home.
        setup: for recordings, in place of their own.
        archer, bow, arrow: only these, by their names in set-ups.
        since, until: only these days, both within; dates or text as "2026-11-25".
        tag: only shots with this tag (store).

    Returns:
        A standard uncertainty stands beside its measure, as `rotation_sigma_yaw_deg`; `time_utc` is the time of the
        release. What is not known is NaN, and `notes` says why.

    Raises:
        InputError: a recording cannot be read, or no such day.
    """
    import pandas as pd

    from quiethand.notebook.frames import shots_frame
    from quiethand.notebook.shot_rows import store_pages

    wanted = wanted_shots(archer=archer, bow=bow, arrow=arrow, since=since, until=until, tag=tag)
    recordings = recordings_of(source)
    if recordings is None:
        if setup is not None:
            raise InputError("a stored shot has its own set-up", do="leave setup out, or name recordings")
        with opened_store(source) as store:
            pages = [shots_frame(page) for page in store_pages(store, wanted.in_store(store))]
        held = [page.iloc[::-1] for page in reversed(pages)] or [shots_frame([])]
        return pd.concat(held, ignore_index=True)
    if tag is not None:
        raise InputError("tags are kept in the store, not in recordings", do="leave tag out, or import them first")
    return shots_frame(row for path in recordings for row in measured_rows(path, setup_of(setup)) if wanted.holds(row))


def measured_rows(path: str, setup: Setup | None) -> Iterator[dict[str, Any]]:
    """A recording's shots as rows, measured now."""
    from quiethand.analysis import analyse_path
    from quiethand.notebook.shot_rows import recording_rows

    return recording_rows(analyse_path(path, setup, traces=False))


def rejected(path: Path_, setup: Setup | Path_ | None = None) -> pd.DataFrame:
    """What in a recording could have been a shot and was none: `time_s`, `reason`, `text`.

    Raises:
        InputError: it cannot be read.
    """
    import pandas as pd

    from quiethand.analysis import analyse_path

    found = analyse_path(os.fspath(path), setup_of(setup), traces=False).rejected
    return pd.DataFrame([asdict(one) for one in found], columns=["time_s", "reason", "text"])


def trace(
    source: Source,
    shot: int,
    *,
    setup: Setup | Path_ | None = None,
    sensor: Literal["gyro", "accelerometer"] = "gyro",
) -> pd.DataFrame:
    """How the bow moved from 100 ms before to 300 ms after a shot's release.

    Args:
        source: a recording; or a store, its URL, or None for the store in the home.
        shot: its number in the recording; in a store its `shot_id`.
        setup: for a recording, in place of its own.
        sensor: which sensor's samples; their delays are taken off, so that the two have other times.

    Returns:
        `t_ms` from the release, and for the gyro `rate_cant_deg_s`, `rotation_cant_deg` (since the release) and, where
        inertia is known, `torque_cant_nm`, and so on for pitch and yaw; for the accelerometer `ax_m_s2`, `ay_m_s2`,
        `az_m_s2`.

    Raises:
        InputError: no such shot, or no trace of it.
    """
    recordings = recordings_of(source)
    if recordings is None:
        with opened_store(source) as store:
            record = store.shot(shot)
        where, held = "the store", None if record is None else record.trace
        known = record is not None
    else:
        if len(recordings) != 1:
            raise InputError(f"{len(recordings)} recordings are named", do="name the one that the shot is in")
        where, known, held = recordings[0], *_traced(recordings[0], shot, setup_of(setup))
    if not known:
        raise InputError(f"no shot {shot}", where=where, do="see qh.shots(...) for those that there are")
    if held is None:
        raise InputError(f"shot {shot} has no trace", where=where, do="its notes say what is missing")
    return _trace_frame(held, sensor)


def _traced(path: str, number: int, setup: Setup | None) -> tuple[bool, Trace | None]:
    from quiethand.analysis import analyse_path

    for shot in analyse_path(path, setup).shots:
        if shot.number == number:
            return True, shot.trace
    return False, None


def _trace_frame(held: Trace, sensor: str) -> pd.DataFrame:
    import pandas as pd

    from quiethand.axes import AXIS_NAMES

    if sensor == "accelerometer":
        force = dict(zip(("ax_m_s2", "ay_m_s2", "az_m_s2"), held.specific_force_m_s2.T, strict=True))
        return pd.DataFrame({"t_ms": held.accel_ms, **force})
    if sensor != "gyro":
        raise InputError(f'sensor is "{sensor}"', do='give "gyro" or "accelerometer"')
    columns = {"t_ms": held.gyro_ms}
    for name, values, unit in (
        ("rate", held.rate_deg_s, "deg_s"),
        ("rotation", held.rotation_deg, "deg"),
        ("torque", held.torque_nm, "nm"),
    ):
        if values is not None:
            columns |= {f"{name}_{axis}_{unit}": column for axis, column in zip(AXIS_NAMES, values.T, strict=True)}
    return pd.DataFrame(columns)


def launch(setup: Setup | Path_, *, arrow_mass_kg: float | None = None, let_off: float | None = None) -> Launch:
    """What bow and arrow should do: time on the string, speed, energies, and the string's way against time.

    Args:
        setup: a set-up or its file.
        arrow_mass_kg, let_off: in place of the set-up's.

    Raises:
        InputError: the set-up does not suffice.
    """
    from quiethand.bow import launch as model

    read_in = setup_of(setup)
    if read_in is None:
        raise InputError("no set-up is given", do="'quiethand setup' writes one to start from")
    return model.launch(read_in, arrow_mass_kg=arrow_mass_kg, let_off=let_off)


def measures() -> pd.DataFrame:
    """What is measured of a shot: each column of `shots`, its unit, what it is and how it is found."""
    import pandas as pd

    from quiethand.axes import AXIS_NAMES
    from quiethand.shots.measures_table import MEASURES_TABLE

    rows = [
        {
            "column": row.column(axis),
            "sigma_column": row.column(axis, sigma=True) if row.sigma_field else None,
            "label": row.label + (f", {axis}" if axis else ""),
            "unit": row.unit,
            "definition": row.definition,
            "method": row.method,
        }
        for row in MEASURES_TABLE.values()
        for axis in (AXIS_NAMES if row.by_axis else (None,))
    ]
    return pd.DataFrame(rows)

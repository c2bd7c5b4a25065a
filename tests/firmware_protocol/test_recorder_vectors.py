"""What of a device's bytes goes into a recording: the recorder against the wire format's vectors."""

from __future__ import annotations

from typing import Any

import pytest
import quiethand_protocol as qp
from firmware_protocol.slow_stream import sort_of_runs
from firmware_protocol.vector_files import by_name, in_pieces, vectors
from hypothesis import given
from hypothesis import strategies as st
from quiethand.link.device_runs import DeviceRuns


def recorded(runs: DeviceRuns, data: bytes, size: int) -> bytes:
    """What the file gets of `data`, fed in pieces of `size`."""
    return b"".join(part for piece in in_pieces(data, size) for part in runs.feed(piece))


@pytest.mark.parametrize("vector", vectors("recorder"), ids=by_name)
@pytest.mark.parametrize("size", [1, 5, 1 << 20])
def test_recorder(vector: dict[str, Any], size: int) -> None:
    runs = DeviceRuns()
    file = b"".join(
        runs.cut() if feed is None else recorded(runs, bytes.fromhex(feed), size) for feed in vector["feeds"]
    )
    assert file == bytes.fromhex(vector["file"])
    assert runs.host_frames == vector["host_frames"]


@given(
    st.lists(
        st.binary(max_size=20)
        | st.sampled_from(
            [b"\0", qp.encode(qp.Clock(1, 2)), qp.encode(qp.Log(1, "ok")), qp.encode_frame(b"\xff" + b"z" * 700)]
        ),
        max_size=12,
    ).map(b"".join),
    st.integers(1, 60),
)
def test_nothing_but_host_frames_is_kept_out(data: bytes, size: int) -> None:
    """A recording of any device bytes holds none of the host's frames, and everything else verbatim."""
    runs = DeviceRuns()
    file = recorded(runs, data, size) + runs.cut()
    closed = data if data.endswith(b"\0") or not data else data + b"\0"
    kept = [closed[start:end] for start, end, sort in sort_of_runs(closed, 65_795) if sort == "bad" or sort < "80"]
    assert [run + b"\0" for run in file.split(b"\0") if run] == kept

"""The Python implementation against every vector: whole, byte by byte, and with bytes after it."""

from __future__ import annotations

from typing import Any

import pytest
import quiethand_protocol as qp
from firmware_protocol.vector_files import (
    by_name,
    expected,
    in_pieces,
    joined,
    message_of,
    outcomes,
    plain_of,
    read,
    vectors,
)


@pytest.mark.parametrize("vector", vectors("messages"), ids=by_name)
def test_message(vector: dict[str, Any]) -> None:
    frame = bytes.fromhex(vector["frame"])
    if vector["canonical"]:
        assert qp.encode(message_of(vector["message"])) == frame
    only = [{"offset": 0, "outcome": "message", "message": vector["message"]}]
    assert outcomes(read(vector["source"], [frame])) == only
    assert outcomes(read(vector["source"], in_pieces(frame, 1))) == only
    after = b"\x09rubbish"
    cut_off = {"offset": len(frame), "outcome": "bad_frame", "end": len(frame) + len(after), "count": 1}
    assert outcomes(read(vector["source"], [frame + after])) == [*only, cut_off]
    twice = outcomes(read(vector["source"], [frame + frame]))
    assert [one["message"] for one in twice] == [vector["message"]] * 2
    assert twice[1]["offset"] == len(frame)


@pytest.mark.parametrize("vector", vectors("refused"), ids=by_name)
def test_refused_by_the_encoder(vector: dict[str, Any]) -> None:
    with pytest.raises(ValueError):
        qp.encode(message_of(vector["message"]))


@pytest.mark.parametrize("vector", vectors("streams"), ids=by_name)
def test_stream(vector: dict[str, Any]) -> None:
    data, source, wanted = joined(vector["bytes"]), vector["source"], expected(vector)
    assert outcomes(read(source, [data])) == wanted
    assert outcomes(read(source, in_pieces(data, 1))) == wanted
    assert outcomes(read(source, in_pieces(data, 7))) == wanted
    if data.endswith(b"\0") and not any(one["outcome"] == "refused" for one in wanted):
        after = outcomes(read(source, [data + b"\x09rubbish"]))
        last = {"offset": len(data), "outcome": "bad_frame", "end": len(data) + 8, "count": 1}
        assert after[:-1] == wanted[: len(after) - 1]
        assert after[-1]["end"] == last["end"]
        assert after[-1]["outcome"] == "bad_frame"


@pytest.mark.parametrize("vector", vectors("streams"), ids=by_name)
def test_counters_agree_with_the_outcomes(vector: dict[str, Any]) -> None:
    parser = qp.Parser(vector["source"])
    parser.feed(joined(vector["bytes"]))
    parser.finish()

    def counted(name: str) -> int:
        return sum(one["outcome"] == name for one in vector["outcome"])

    assert parser.bad_frames == counted("bad_frame")
    assert parser.joined_mid_frame == counted("joined")
    assert parser.malformed == counted("malformed")
    assert parser.unknown == counted("unknown")
    assert parser.host_frames_from_device == counted("host_frame")
    assert parser.frames == counted("message") + counted("refused")
    assert (parser.refused is not None) == (counted("refused") > 0)


def text_outcomes(items: list[qp.TextItem]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for item in items:
        if isinstance(item, qp.Trouble):
            found.append({"outcome": "bad_line", "offset": item.offset, "end": item.end, "count": item.count})
            continue
        for i in range(len(item)):
            units = plain_of(item.units)  # type: ignore[arg-type]
            del units["type"]
            found.append(
                {
                    "outcome": "sample",
                    "t_us": int(item.t_us[i]),
                    "step_us": int(item.step_us[i]),
                    "opens_segment": bool(item.opens_segment[i]),
                    "values": item.values[i].tolist(),
                    "units": units,
                    "offset": int(item.offset[i]),
                }
            )
    return found


def merged_lines(found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    for one in found:
        if one["outcome"] == "bad_line" and "length" in one:
            one = {
                "outcome": "bad_line",
                "offset": one["offset"],
                "end": one["offset"] + one["length"],
                "count": 1,
            }
        if out and one["outcome"] == out[-1]["outcome"] == "bad_line":
            out[-1] = out[-1] | {"end": one["end"], "count": out[-1]["count"] + one["count"]}
        else:
            out.append(one)
    return out


def read_text(pieces: list[bytes]) -> list[dict[str, Any]]:
    parser = qp.TextParser()
    items = [item for piece in pieces for item in parser.feed(piece)]
    return merged_lines(text_outcomes(items + parser.finish()))


@pytest.mark.parametrize("vector", vectors("text"), ids=by_name)
def test_text(vector: dict[str, Any]) -> None:
    data, wanted = joined(vector["bytes"]), merged_lines(vector["outcome"])
    assert read_text([data]) == wanted
    assert read_text(in_pieces(data, 1)) == wanted
    assert read_text(in_pieces(data, 5)) == wanted


@pytest.mark.parametrize("vector", vectors("text"), ids=by_name)
def test_text_in_frames(vector: dict[str, Any]) -> None:
    """Whole lines in TEXT frames give what the bare stream gives, each placed at its frame."""
    data = joined(vector["bytes"])
    parser = qp.TextParser()
    items = [item for n, line in enumerate(data.splitlines(keepends=True)) for item in parser.feed_frame(line, n)]
    # splitlines also cuts at a lone CR, which is inside a line here
    if data.count(b"\n") == len(data.splitlines()):
        strip = [{k: v for k, v in one.items() if k not in ("offset", "end")} for one in read_text([data])]
        found = merged_lines(text_outcomes(items))
        assert [{k: v for k, v in one.items() if k not in ("offset", "end")} for one in found] == strip


@pytest.mark.parametrize("vector", vectors("modes"), ids=by_name)
@pytest.mark.parametrize("size", [1, 13, 1 << 20])
def test_mode(vector: dict[str, Any], size: int) -> None:
    data = joined(vector["bytes"])
    detector = qp.ModeDetector(vector["source"])
    fed = 0
    for piece in in_pieces(data, size):
        fed += len(piece)
        if detector.feed(piece) is not None:
            break
    assert detector.mode == vector["mode"]
    if detector.mode is not None:
        assert fed - len(piece) < vector["settled_after"] <= fed
        with pytest.raises(ValueError):
            detector.feed(b"more")

"""The JSON of host frames: one UTF-8 object after RFC 8259, with the wire format's narrower rules.

Depth at most 32 with the outermost object as 1; no repeated key, lone surrogate, number beyond a double, or integer
beyond 64 bits signed. Time and memory are linear in the payload.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import Final, NoReturn

__all__ = ["JSON_DEPTH_LIMIT", "JsonRuleError", "read_object", "write_object"]

JSON_DEPTH_LIMIT: Final = 32
_INT64_DIGITS: Final = 20  # with a sign; longer can't fit, and need not be converted to be known not to
_OUTSIDE: Final = re.compile(r'["{}\[\]]')
_INSIDE: Final = re.compile(r'["\\]')
_ESCAPED_SURROGATE: Final = re.compile(r"\\u[dD][89a-fA-F]")


class JsonRuleError(ValueError):
    """A payload that is not an object under these rules; the message says which one it broke."""


def _check_depth(text: str) -> None:
    # Before the library sees it: its own nesting is bounded only by the interpreter's stack.
    if text.count("{") + text.count("[") <= JSON_DEPTH_LIMIT:
        return
    depth, at, inside = 0, 0, False
    while match := (_INSIDE if inside else _OUTSIDE).search(text, at):
        mark, at = match.group(), match.end()
        if mark == '"':
            inside = not inside
        elif mark == "\\":
            at += 1
        elif mark in "{[":
            depth += 1
            if depth > JSON_DEPTH_LIMIT:
                raise JsonRuleError(f"it is nested deeper than {JSON_DEPTH_LIMIT}")
        else:
            depth -= 1


def _integer(digits: str) -> int:
    if len(digits) <= _INT64_DIGITS and -(2**63) <= (value := int(digits)) < 2**63:
        return value
    raise JsonRuleError(f"the integer {digits[:24]} does not fit 64 bits signed")


def _number(digits: str) -> float:
    value = float(digits)
    if math.isinf(value):
        raise JsonRuleError(f"the number {digits[:24]} is beyond a double")
    return value


def _constant(name: str) -> NoReturn:
    raise JsonRuleError(f"{name} is not a JSON value")


def _unrepeated(pairs: list[tuple[str, object]]) -> dict[str, object]:
    members = dict(pairs)
    if len(members) != len(pairs):
        seen: set[str] = set()
        repeated = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
        raise JsonRuleError(f"the key {repeated[:40]!r} is repeated")
    return members


_DECODER: Final = json.JSONDecoder(
    object_pairs_hook=_unrepeated, parse_int=_integer, parse_float=_number, parse_constant=_constant
)


def read_object(payload: bytes) -> dict[str, object]:
    """The object that `payload` holds.

    Raises:
        JsonRuleError: it is not one UTF-8 JSON object under the rules above.
    """
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError as error:
        raise JsonRuleError(f"it is not UTF-8 at byte {error.start}") from None
    _check_depth(text)
    try:
        value = _DECODER.decode(text)
    except JsonRuleError:
        raise
    except (ValueError, RecursionError) as error:
        raise JsonRuleError(f"it is not JSON: {str(error)[:80]}") from None
    if not isinstance(value, dict):
        raise JsonRuleError("it is not an object")
    if _ESCAPED_SURROGATE.search(text):
        try:
            json.dumps(value, ensure_ascii=False).encode("utf-8")
        except UnicodeEncodeError:
            raise JsonRuleError("it holds a lone surrogate") from None
    return value


def write_object(document: Mapping[str, object]) -> bytes:
    """`document` as compact UTF-8 JSON, members in their order.

    Raises:
        ValueError: something in it is not JSON or breaks a rule above.
    """
    try:
        text = json.dumps(dict(document), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        payload = text.encode("utf-8")
    except (TypeError, ValueError, RecursionError) as error:
        raise ValueError(f"the object cannot be written as JSON: {error}") from None
    read_object(payload)
    return payload

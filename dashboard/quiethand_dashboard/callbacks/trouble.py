"""What went wrong, in one sentence in the page; never a traceback, nor a path of the machine."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any, Final

from dash import html, no_update, set_props
from quiethand.errors import InputError

from quiethand_dashboard import ids

__all__ = ["ask", "said", "tell"]

_UNEXPECTED: Final = (
    "Something went wrong in this page; the recording goes on. Reload the page, and look at the terminal."
)
_LOG: Final = logging.getLogger("quiethand.page")


def said(error: InputError) -> str:
    """The sentence: what is wrong and what to do. Where it was found is left out: it may be a path."""
    text = f"{error.what}; {error.do}" if error.do else error.what
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


def tell(error: Exception) -> Any:
    """For `Dash(on_error=...)`: a callback that fails says so at the top of the page and leaves the rest as it is."""
    if isinstance(error, InputError):
        set_props(ids.TROUBLE, {"children": html.Div(said(error), className="notice")})
    else:
        _LOG.error("a callback failed", exc_info=error)
        set_props(ids.TROUBLE, {"children": html.Div(_UNEXPECTED, className="notice")})
    return no_update


def ask(action: Callable[[], str]) -> Any:
    """Do what a form asks; what it did, or the one sentence on why not, for the line below the form."""
    try:
        return html.Span(action(), className="done")
    except InputError as error:
        return html.Span(said(error), className="refused")

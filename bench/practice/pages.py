"""What the desk answers: its pages, and how they are sent."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from slipbench.figures.pages import as_data, fill
from slipbench.figures.pages import part as figure_part
from slipbench.ground.errors import InputError
from slipbench.practice.debrief_page import part
from slipbench.practice.gate import DRIVE, LEAD

_HEADERS = {
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


def desk_page(role: str) -> str:
    """Return the page of a role: the cab's, or the train's with or without the lesson's buttons."""
    style = figure_part("page.css") + figure_part("playback.css") + part("desk.css")
    if role == DRIVE:
        places = {"style": style, "script": part("link.js") + part("cab.js")}
        return fill(part("cab.html"), places)
    script = figure_part("playback_train.js") + part("link.js") + part("scene.js")
    data = as_data({"role": role, "leads": role == LEAD})
    return fill(part("scene.html"), {"style": style, "script": script, "data": data})


def library() -> Any:
    """Return the function that serves sockets.

    Raises
    ------
    InputError   without the extra `practice`
    """
    try:
        from websockets.asyncio.server import serve
    except ImportError:
        raise InputError(
            "websockets is needed, the extra `practice`: "
            "python -m pip install 'slipbench[practice]'"
        ) from None
    return serve


def silent() -> Any:
    """Return a logger that keeps quiet: refusals are told by the desk's own log."""
    import logging

    logger = logging.getLogger("slipbench.practice.sockets")
    logger.setLevel(logging.CRITICAL + 1)
    logger.propagate = False
    return logger


def response(status: HTTPStatus, text: str, kind: str) -> Any:
    """Return an answer to a request, never kept, framed or told to others."""
    from websockets.datastructures import Headers
    from websockets.http11 import Response

    body = text.encode()
    headers = Headers(
        {
            **_HEADERS,
            "Content-Type": f"{kind}; charset=utf-8",
            "Content-Length": str(len(body)),
            "Connection": "close",
        }
    )
    return Response(status.value, status.phrase, headers, body)

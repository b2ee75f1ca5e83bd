"""Reads a form as browsers send it, and no further than it may be long.

Not for what stands in it, nor for whether it is one of the page's own. Stands on Starlette.
"""

from __future__ import annotations

from urllib.parse import parse_qsl

from starlette.exceptions import HTTPException
from starlette.requests import Request

FIELDS = 200  # more than any of ours has


async def read_form(request: Request, limit: int) -> dict[str, str]:
    """An urlencoded form, read no further than `limit` bytes.

    A name given more than once is a list with blanks between, as check boxes send it.

    Raises:
        HTTPException: it is larger, or no form.
    """
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > limit:
            raise HTTPException(413, "This is more than any form here brings.")
    try:
        pairs = parse_qsl(body.decode(), keep_blank_values=True, max_num_fields=FIELDS)
    except ValueError as fault:
        raise HTTPException(400, "This is no form.") from fault
    form: dict[str, str] = {}
    for name, value in pairs:
        form[name] = f"{form[name]} {value}" if name in form else value
    return form

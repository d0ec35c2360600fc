"""How a refusal looks: problem details (RFC 9457) for programs, a page for people.

Every `UnderlidError` that reaches the edge of a request ends here, and so does every
`HTTPException`. Nothing of the inside (no stack, no SQL) is ever shown.
"""

from __future__ import annotations

from http import HTTPStatus
from typing import Final

from fastapi import FastAPI, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException as PlainHTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import JSONResponse, RedirectResponse, Response

from underlid.errors import UnderlidError, shown
from underlid.storage.trouble import StoreError
from underlid.web.templating import render

MEDIA_TYPE: Final = "application/problem+json"
API_PREFIX: Final = "/api/"


class GoToError(Exception):
    """The visitor must first go to another page (log in, set up)."""

    def __init__(self, path: str) -> None:
        self.path = path
        super().__init__(path)


class Problem(HTTPException):
    """A refusal with a status, a short title and a sentence for whoever asked."""

    def __init__(
        self, status: int, detail: str, title: str = "", headers: dict[str, str] | None = None
    ) -> None:
        super().__init__(status, detail, headers)
        self.title = title or HTTPStatus(status).phrase


def not_found(what: str, value: str) -> Problem:
    """Return the refusal of an id nobody knows."""
    return Problem(404, f"There is no {what} {shown(value)}. Look at the list for its id.")


def problem_response(
    status: int, title: str, detail: str, headers: dict[str, str] | None = None, **more: object
) -> Response:
    """Return problem details; *more* are extension members."""
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail, **more}
    return JSONResponse(body, status, headers, media_type=MEDIA_TYPE)


def install(app: FastAPI) -> None:
    """Give *app* its handlers."""
    app.add_exception_handler(UnderlidError, _refused)
    app.add_exception_handler(PlainHTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(GoToError, _go_to)
    app.add_exception_handler(ClientDisconnect, _gone)
    app.add_exception_handler(Exception, _broken)


def _answer(
    request: Request, status: int, title: str, detail: str, headers: dict[str, str] | None = None
) -> Response:
    """Return the refusal in the form that fits who asked."""
    if request.url.path.startswith(API_PREFIX):
        return problem_response(status, title, detail, headers)
    response = render(request, "problem.html", {"title": title, "detail": detail}, status)
    response.headers.update(headers or {})
    return response


def _refused(request: Request, error: Exception) -> Response:
    status = 503 if isinstance(error, StoreError) else 422
    stored = "Cannot be read now" if request.method == "GET" else "Not stored"
    title = stored if status == 503 else "Not accepted"
    return _answer(request, status, title, str(error))


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, PlainHTTPException)
    title = getattr(error, "title", HTTPStatus(error.status_code).phrase)
    detail = str(error.detail)
    if error.status_code == 404 and detail == "Not Found":
        detail = "There is nothing at this address."
    headers = dict(error.headers) if error.headers else None
    return _answer(request, error.status_code, title, detail, headers)


def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"][1:]) or str(first["loc"][0])
    detail = f"{place}: {first['msg']}. See /api/v1/openapi.json for what is expected."
    return _answer(request, 422, "Not accepted", detail)


def _go_to(_: Request, error: Exception) -> Response:
    assert isinstance(error, GoToError)
    return RedirectResponse(error.path, 303)


def _gone(request: Request, error: Exception) -> Response:
    """Answer somebody who hung up in the middle of a form; it is not a fault to be logged."""
    del request, error
    return Response(status_code=400)


def _broken(request: Request, _: Exception) -> Response:
    detail = "Something failed inside; the log has the details. Nothing you sent was kept halfway."
    return _answer(request, 500, "Something failed", detail)

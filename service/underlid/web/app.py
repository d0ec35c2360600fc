"""Puts the pages and the interface together: `make_app(context)`.

From the outside in: `security.Guard` (headers, body bound), compression, routes. Errors become
pages or problem details in `problem.py`.
"""

from __future__ import annotations

import asyncio
from typing import Final

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware

from underlid.web import problem, static
from underlid.web.api import PLAIN_ROUTERS
from underlid.web.api import ROUTERS as API_ROUTERS
from underlid.web.context import Context
from underlid.web.pages import ROUTERS as PAGE_ROUTERS
from underlid.web.photos import UPLOADS_AT_ONCE
from underlid.web.security import Guard
from underlid.web.taps import publish_readings
from underlid.workers.kept_judges import KeptJudges

API_VERSION: Final = "1.0.0"
OPENAPI_PATH: Final = "/api/v1/openapi.json"
COMPRESS_FROM_BYTES: Final = 1000

ABOUT: Final = """
Readings, journal, verdicts and alerts of the worm bins of one place.

Units are SI and stand at the end of each field's name; times are RFC 3339. Send a bearer token
(`Authorization: Bearer …`); errors are problem details (RFC 9457).
"""


def make_app(context: Context, *, pages: bool = True, taps: bool = True) -> FastAPI:
    """Return the app that answers for *context*; readings are published to its live hub.

    Without *pages* it only takes readings (if it has a recorder) and says how it is doing. Without
    *taps* somebody else publishes the readings.
    """
    app = FastAPI(
        title="Underlid",
        version=API_VERSION,
        description=ABOUT,
        openapi_url=OPENAPI_PATH,
        docs_url=None,
        redoc_url=None,
    )
    app.state.context = context
    app.state.judges = KeptJudges(context.records, context.readings, context.clock)
    app.state.uploads = asyncio.Semaphore(UPLOADS_AT_ONCE)
    problem.install(app)
    app.add_middleware(GZipMiddleware, minimum_size=COMPRESS_FROM_BYTES)
    app.add_middleware(Guard, https=context.https)
    app.include_router(static.router)
    for router in (*PAGE_ROUTERS, *API_ROUTERS) if pages else PLAIN_ROUTERS:
        app.include_router(router)
    if taps and context.recorder is not None:
        context.recorder.listen(publish_readings(context.live))
    return app

"""Photos that come with a form or a request: read, made fit to be kept, kept; and how they are served.

Decoding is heavy work: it has one thread of its own, which steps back behind all others, so that
readings and pages do not wait for it. What is accepted is in `files/photos.py`.
"""

from __future__ import annotations

import asyncio
import os
import secrets
import sys
import threading
from collections.abc import AsyncIterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Final

from fastapi import Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from underlid.errors import UnderlidError
from underlid.files.photos import PHOTO_MOST_BYTES, prepare_photo, too_large
from underlid.journal.photos import (
    EntryPhoto,
    PhotoState,
    PictureSize,
    PreparedPhoto,
    checked_words,
)
from underlid.storage.records import Person
from underlid.web.context import Context
from underlid.web.problem import Problem
from underlid.web.tokens import FIELD, form_token_holds
from underlid.web.visitor import FIELDS_MOST, writer_of

FILES_MOST: Final = 16
"""In one form; more than an entry may show."""

UPLOADS_AT_ONCE: Final = 2
"""Others wait before their bodies are read: those lie in the machine's folder for passing files."""

UPLOAD_MOST_S: Final = 180.0
"""A phone with one bar sends a few photos in that time, or is asked to send fewer."""

BACKGROUND: Final = 10
"""Of the system's 19 steps back."""

FOR_EVER: Final = "private, max-age=31536000, immutable"
"""What is at a photo's address never changes; only the browser of who may see it keeps it."""

ID_BYTES: Final = 9


@dataclass(frozen=True, slots=True)
class Uploaded:
    """A form with photos: its plain fields, what can be kept, and why the rest cannot."""

    fields: dict[str, str]
    photos: list[PreparedPhoto]
    refused: list[UnderlidError]


async def upload_of(request: Request, _: Annotated[Person, Depends(writer_of)]) -> Uploaded:
    """Return a form of somebody who may write, once its token has been checked."""
    async with (
        uploading(request),
        request.form(max_files=FILES_MOST, max_fields=FIELDS_MOST) as form,
    ):
        fields = {name: value for name, value in form.items() if isinstance(value, str)}
        if not form_token_holds(fields.pop(FIELD, ""), getattr(request.state, "cookie", "")):
            raise Problem(
                403, "The page this form came from is too old. Go back, reload, send again."
            )
        photos, refused = await photos_in(form)
    return Uploaded(fields, photos, refused)


Upload = Annotated[Uploaded, Depends(upload_of)]


@asynccontextmanager
async def uploading(request: Request) -> AsyncIterator[None]:
    """Take one of the turns for reading photos; one that takes too long gives it back."""
    turns: asyncio.Semaphore = request.app.state.uploads
    try:
        async with asyncio.timeout(UPLOAD_MOST_S), turns:
            yield
    except TimeoutError:
        raise Problem(503, "The photos took too long. Send fewer at a time.", "Too slow") from None
    except OSError as error:
        detail = f"There is no room to take the photos in ({error.strerror}). Send fewer, or later."
        raise Problem(503, detail, "Not stored") from None


async def photos_in(form: FormData) -> tuple[list[PreparedPhoto], list[UnderlidError]]:
    """Return the pictures of all files of a form, and the refusals of those that are none."""
    photos: list[PreparedPhoto] = []
    refused: list[UnderlidError] = []
    for _, file in form.multi_items():
        if not isinstance(file, UploadFile) or not file.size:
            continue
        try:
            if file.size > PHOTO_MOST_BYTES:
                raise too_large(file.size)
            photos.append(await prepared(await file.read()))
        except UnderlidError as error:
            refused.append(error)
    return photos, refused


async def prepared(data: bytes) -> PreparedPhoto:
    """Make a file's pictures, on the thread for that."""
    return await asyncio.get_running_loop().run_in_executor(_workshop(), prepare_photo, data)


def keep_photos(
    context: Context, entry_id: str, photos: Sequence[PreparedPhoto], words: str, by: str
) -> tuple[list[EntryPhoto], list[UnderlidError]]:
    """Keep photos with an entry; return them, and why others could not be kept."""
    kept: list[EntryPhoto] = []
    refused: list[UnderlidError] = []
    room_bytes = context.settings.photos_mb * 1_000_000
    for photo in photos:
        try:
            kept.append(
                context.records.add_photo(
                    entry_id,
                    photo,
                    new_id=secrets.token_hex(ID_BYTES),
                    by=by,
                    words=checked_words(words),
                    at_ms=context.clock.now_ms(),
                    room_bytes=room_bytes,
                )
            )
        except UnderlidError as error:
            refused.append(error)
    return kept, refused


def picture_response(
    request: Request, context: Context, photo: EntryPhoto | None, size: PictureSize
) -> Response:
    """Return one picture of a photo; 304 to a browser that has it."""
    if photo is None or photo.state is PhotoState.ERASED:
        raise Problem(404, "There is no such photo, or it was erased.")
    headers = {"cache-control": FOR_EVER, "etag": f'"{photo.id}-{size.value}"'}
    if request.headers.get("if-none-match", "") == headers["etag"]:
        return Response(status_code=304, headers=headers)
    data = context.records.picture(photo.id, size)
    if data is None:
        raise Problem(404, "There is no such photo, or it was erased.")
    headers["content-disposition"] = f'inline; filename="underlid-{photo.id}.jpg"'
    return Response(data, 200, headers, "image/jpeg")


@cache
def _workshop() -> ThreadPoolExecutor:
    """Return the one thread on which pictures are made."""
    return ThreadPoolExecutor(1, "photos", initializer=_step_back)


def _step_back() -> None:
    """Let every other thread go first, where the system can do that for one thread."""
    if sys.platform == "linux":
        with suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), BACKGROUND)

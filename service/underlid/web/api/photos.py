"""Photos of an entry: add as a form or as the picture itself, list, fetch, describe, remove."""

from __future__ import annotations

from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from underlid.errors import UnderlidError
from underlid.files.photos import PHOTO_MOST_BYTES
from underlid.journal.entries import Entry
from underlid.journal.photos import EntryPhoto, PictureSize, PreparedPhoto, checked_words
from underlid.web.api.entries import known_entry
from underlid.web.api.schemas import PhotoBody, PhotoFields, ProblemBody
from underlid.web.context import context_of
from underlid.web.photos import (
    FILES_MOST,
    keep_photos,
    photos_in,
    picture_response,
    prepared,
    uploading,
)
from underlid.web.problem import Problem, not_found
from underlid.web.visitor import (
    FIELDS_MOST,
    AnyCaller,
    Caller,
    LeadingCaller,
    WritingCaller,
)

FORM: Final = "multipart/form-data"
BINARY: Final = {"type": "string", "format": "binary"}

router = APIRouter(
    prefix="/api/v1/entries/{entry_id}/photos",
    tags=["journal"],
    responses={422: {"model": ProblemBody, "description": "Not accepted; the detail says why"}},
)


@router.get("")
def list_photos(request: Request, entry_id: str, caller: AnyCaller) -> list[PhotoBody]:
    """Return the photos that an entry shows, oldest first."""
    del caller
    context = context_of(request)
    known_entry(context, entry_id)
    photos = context.records.photos_of([entry_id]).get(entry_id, [])
    return [PhotoBody.of(photo) for photo in photos]


@router.post(
    "",
    status_code=201,
    responses={
        413: {"model": ProblemBody, "description": "Too large"},
        415: {"model": ProblemBody, "description": "Neither a form nor a picture"},
        503: {"model": ProblemBody, "description": "Nothing was stored; send it again later"},
    },
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {
                FORM: {
                    "schema": {
                        "type": "object",
                        "properties": {
                            "photos": {"type": "array", "items": BINARY},
                            "words": {"type": "string"},
                        },
                    }
                },
                "image/*": {"schema": BINARY},
            },
        }
    },
)
async def add_photos(
    request: Request,
    entry_id: str,
    caller: WritingCaller,
    words: Annotated[str, Query(description="What it shows, where the picture is the body")] = "",
) -> list[PhotoBody]:
    """Keep photos with an entry; one it shows already is kept once."""
    context = context_of(request)
    entry: Entry = await run_in_threadpool(known_entry, context, entry_id)
    async with uploading(request):
        photos, refused, words = await _sent(request, words)
    if not refused:
        by = "" if caller.name == "token" else caller.name
        checked_words(words)
        kept, refused = await run_in_threadpool(keep_photos, context, entry_id, photos, words, by)
        if kept:
            context.live.publish({"kind": "journal", "bin": entry.bin})
    if refused:
        raise refused[0]
    return [PhotoBody.of(photo) for photo in kept]


async def _sent(
    request: Request, words: str
) -> tuple[list[PreparedPhoto], list[UnderlidError], str]:
    """Return the pictures of a request, the refusals, and the words for them."""
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media_type.startswith("image/"):
        if int(request.headers.get("content-length", "0")) > PHOTO_MOST_BYTES:
            raise Problem(413, f"A photo may have {PHOTO_MOST_BYTES // 1_000_000} MB.")
        return [await prepared(await request.body())], [], words
    if media_type != FORM:
        raise Problem(415, f"Send a picture or {FORM}; this is {media_type[:60] or 'none'}.")
    async with request.form(max_files=FILES_MOST, max_fields=FIELDS_MOST) as form:
        photos, refused = await photos_in(form)
        said = form.get("words", "")
    if not photos and not refused:
        raise Problem(422, "There is no photo in the form. Send each as a part with a file name.")
    return photos, refused, said if isinstance(said, str) else words


@router.get(
    "/{photo_id}/{size}.jpg",
    response_class=Response,
    responses={200: {"content": {"image/jpeg": {"schema": BINARY}}}, 304: {}},
)
def one_picture(
    request: Request, entry_id: str, photo_id: str, size: PictureSize, caller: AnyCaller
) -> Response:
    """Return a photo's picture: `full` (2048 pixels at most) or `small` (400)."""
    del caller
    context = context_of(request)
    return picture_response(request, context, _known(request, entry_id, photo_id), size)


@router.put("/{photo_id}")
def describe_photo(
    request: Request, entry_id: str, photo_id: str, caller: WritingCaller, fields: PhotoFields
) -> PhotoBody:
    """Say what a photo shows; earlier words stay in the history of the entry."""
    context = context_of(request)
    _known(request, entry_id, photo_id)
    words = checked_words(fields.words)
    changed = context.records.describe_photo(photo_id, words, _name(caller), context.clock.now_ms())
    return _told(request, changed)


@router.delete("/{photo_id}")
def remove_photo(
    request: Request, entry_id: str, photo_id: str, caller: WritingCaller
) -> PhotoBody:
    """Take a photo off its entry; the history of the entry still has it."""
    context = context_of(request)
    _known(request, entry_id, photo_id)
    return _told(
        request,
        context.records.remove_photo(photo_id, _name(caller), context.clock.now_ms()),
    )


@router.post("/{photo_id}/erase")
def erase_photo(request: Request, entry_id: str, photo_id: str, caller: LeadingCaller) -> PhotoBody:
    """Erase a photo's pictures and words for good; that there was one stays in the history."""
    context = context_of(request)
    _known(request, entry_id, photo_id)
    return _told(
        request,
        context.records.erase_photo(photo_id, _name(caller), context.clock.now_ms()),
    )


def _known(request: Request, entry_id: str, photo_id: str) -> EntryPhoto:
    photo = context_of(request).records.photo(photo_id)
    if photo is None or photo.entry != entry_id:
        raise not_found("photo", photo_id)
    return photo


def _told(request: Request, photo: EntryPhoto) -> PhotoBody:
    """Tell open pages that a photo changed, and return it."""
    context = context_of(request)
    context.live.publish({"kind": "journal", "bin": known_entry(context, photo.entry).bin})
    return PhotoBody.of(photo)


def _name(caller: Caller) -> str:
    return "" if caller.name == "token" else caller.name

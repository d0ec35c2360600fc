"""Photos of an entry: showing one, adding some, saying what it shows, removing, erasing."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.errors import UnderlidError
from underlid.journal.photos import EntryPhoto, PictureSize, checked_words
from underlid.web.context import Context, context_of
from underlid.web.pages.journal import entry_of, no_photo, show_entry
from underlid.web.photos import Upload, keep_photos, picture_response
from underlid.web.problem import not_found
from underlid.web.visitor import AnyPerson, Form, Lead, Writer

router = APIRouter(include_in_schema=False)


@router.get("/photos/{photo_id}/{size}.jpg")
def picture(request: Request, photo_id: str, size: PictureSize, person: AnyPerson) -> Response:
    """Show one picture of a photo."""
    del person
    context = context_of(request)
    return picture_response(request, context, context.records.photo(photo_id), size)


@router.post("/journal/{entry_id}/photos")
def add_photos(request: Request, entry_id: str, upload: Upload, person: Writer) -> Response:
    """Keep photos with an entry, also an old one; what cannot be kept is said."""
    context = context_of(request)
    entry = entry_of(context, entry_id)
    words = upload.fields.get("words", "")
    kept, refused = keep_photos(context, entry_id, upload.photos, words, person.name)
    refused = upload.refused + refused
    if not kept and not refused:
        refused.append(no_photo())
    if kept:
        context.live.publish({"kind": "journal", "bin": entry.bin})
    if refused:
        return show_entry(request, entry_id, refused[0], "photos" if kept else "")
    return RedirectResponse(f"/journal/{entry_id}?said=photos", 303)


@router.post("/journal/{entry_id}/photos/{photo_id}/words")
def describe(
    request: Request, entry_id: str, photo_id: str, form: Form, person: Writer
) -> Response:
    """Say what a photo shows."""
    context = context_of(request)
    photo_of(context, entry_id, photo_id)
    try:
        words = checked_words(form.get("words", ""))
    except UnderlidError as error:
        return show_entry(request, entry_id, error)
    context.records.describe_photo(photo_id, words, person.name, context.clock.now_ms())
    return _changed(context, entry_id, "described")


@router.post("/journal/{entry_id}/photos/{photo_id}/remove")
def remove(request: Request, entry_id: str, photo_id: str, form: Form, person: Writer) -> Response:
    """Take a photo off its entry; the history still has it."""
    del form
    context = context_of(request)
    photo_of(context, entry_id, photo_id)
    context.records.remove_photo(photo_id, person.name, context.clock.now_ms())
    return _changed(context, entry_id, "photo_removed")


@router.post("/journal/{entry_id}/photos/{photo_id}/erase")
def erase(request: Request, entry_id: str, photo_id: str, form: Form, person: Lead) -> Response:
    """Erase a photo for good."""
    del form
    context = context_of(request)
    photo_of(context, entry_id, photo_id)
    context.records.erase_photo(photo_id, person.name, context.clock.now_ms())
    return _changed(context, entry_id, "photo_erased")


def photo_of(context: Context, entry_id: str, photo_id: str) -> EntryPhoto:
    """Return a photo of this very entry."""
    photo = context.records.photo(photo_id)
    if photo is None or photo.entry != entry_id:
        raise not_found("photo", photo_id)
    return photo


def _changed(context: Context, entry_id: str, said: str) -> Response:
    context.live.publish({"kind": "journal", "bin": entry_of(context, entry_id).bin})
    return RedirectResponse(f"/journal/{entry_id}?said={said}", 303)

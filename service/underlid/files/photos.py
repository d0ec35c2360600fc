"""Makes a keeper's photo fit to be kept: `prepare_photo(bytes)`.

What a file is, its content says, not its name. Its size in pixels is read before anything is
decoded, so that a small file cannot ask for much memory. The picture is decoded, turned upright and
encoded anew; place, time, camera and comments of the file are left behind. Kept in
`storage/records/photos.py`.
"""

from __future__ import annotations

import hashlib
import re
from functools import cache
from io import BytesIO
from typing import Final

from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from underlid.errors import UnderlidError, Words
from underlid.journal.photos import PreparedPhoto

PHOTO_MOST_BYTES: Final = 16_000_000
"""Of one file as it comes; a phone's 48 million pixels have about 10 MB (from memory)."""

PIXELS_MOST: Final = {
    "JPEG": 64_000_000,
    "progressive JPEG": 25_000_000,
    "PNG": 16_000_000,
    "WebP": 12_000_000,
    "HEIC": 25_000_000,
}
"""What decoding any of them takes is 90 to 225 MB (measured, see storage.md). A plain JPEG may be
larger, because it is decoded at a half, a quarter or an eighth; one in several scans counts as
progressive."""

START: Final = b"\xff\xd8"
MARKED: Final = b"\xff"
FILLING: Final = 0xFF
SCAN: Final = 0xDA
SEGMENTS: Final = frozenset({*range(0xC0, 0xD0), *range(0xDB, 0xFF)})
"""Markers of JPEG (ITU-T T.81, annex B): the segments are those that say how long they are."""

SIDE_OF_FILE_MOST_PX: Final = 65_535
"""As of a JPEG. Each row takes room of its own: a PNG of 16 million rows took 505 MB (measured)."""

NAMES: Final = {"JPEG": "JPEG", "MPO": "JPEG", "PNG": "PNG", "WEBP": "WebP", "HEIF": "HEIC"}
"""Pillow's word for what a file holds, and people's. MPO is how some phones write JPEG."""

SIDE_MOST_PX: Final = 2048
"""Enough to see a mite on a printed page (our judgement)."""

SMALL_SIDE_PX: Final = 400
FULL_MOST_BYTES: Final = 1_000_000
QUALITIES: Final = ((SIDE_MOST_PX, 82), (SIDE_MOST_PX, 68), (1600, 68), (1200, 60))
"""Longest side and JPEG quality, tried in turn until the picture is small enough."""

SMALL_QUALITY: Final = 76


def prepare_photo(data: bytes) -> PreparedPhoto:
    """Return the pictures to keep of a file, or refuse it in words; takes a second or so."""
    if len(data) > PHOTO_MOST_BYTES:
        raise too_large(len(data))
    try:
        with Image.open(BytesIO(data), formats=_formats()) as opened:
            _check_pixels(opened, data)
            picture = _plain(opened)
    except UnderlidError:
        raise
    except Image.DecompressionBombError as error:  # Pillow's own bound, before ours is asked
        found = re.search(r"\d+", str(error))
        value = f"{int(found[0]) // 1_000_000:,} million pixels" if found else "far too large"
        raise _too_many_pixels(value) from None
    except UnidentifiedImageError:
        raise _unreadable("nothing that can be read as a picture") from None
    except Exception as error:  # decoders raise whatever hostile bytes lead them to
        raise _unreadable(f"a picture that cannot be decoded ({type(error).__name__})") from None
    for side_px, quality in QUALITIES:
        picture.thumbnail((side_px, side_px), Image.Resampling.LANCZOS)
        full = _jpeg(picture, quality)
        if len(full) <= FULL_MOST_BYTES:
            break
    width_px, height_px = picture.size
    picture.thumbnail((SMALL_SIDE_PX, SMALL_SIDE_PX), Image.Resampling.LANCZOS)
    source = hashlib.sha256(data).hexdigest()
    return PreparedPhoto(full, _jpeg(picture, SMALL_QUALITY), width_px, height_px, source)


def too_large(size_bytes: int) -> UnderlidError:
    """Return the refusal of a file that is too large to be looked at."""
    return UnderlidError(
        "the photo",
        value=Words(f"{size_bytes / 1e6:.1f} MB"),
        expected=f"at most {PHOTO_MOST_BYTES / 1e6:.0f} MB",
        next_step="Make it smaller first, or allow scripts, then the browser does.",
    )


@cache
def reads_heic() -> bool:
    """Tell whether the package that reads iPhones' HEIC is installed; it registers itself once."""
    try:
        import pillow_heif
    except ImportError:
        return False
    pillow_heif.register_heif_opener()
    return True


def _formats() -> list[str]:
    """Return what is decoded; Pillow knows dozens more, and each is a way in."""
    return ["JPEG", "PNG", "WEBP"] + (["HEIF"] if reads_heic() else [])


def _check_pixels(opened: Image.Image, data: bytes) -> None:
    """Refuse by the size that the file says it has; nothing is decoded yet."""
    name = NAMES[opened.format or ""]
    in_one = not opened.info.get("progressive") and _in_one_scan(data, len(opened.getbands()))
    if name == "JPEG" and not in_one:
        name = "progressive JPEG"
    if max(opened.size) > SIDE_OF_FILE_MOST_PX:
        expected = f"at most {SIDE_OF_FILE_MOST_PX:,} pixels along a side"
        raise _beyond(f"{opened.width} × {opened.height} pixels", expected)
    if opened.width * opened.height > PIXELS_MOST[name]:
        raise _too_many_pixels(f"{opened.width} × {opened.height} pixels", name)


def _in_one_scan(data: bytes, colours: int) -> bool:
    """Tell whether a JPEG's first scan has all colours.

    Of any other the decoder holds the whole picture in memory until its last scan, as of a progressive
    one. False, too, where the way to the scan is not plain.
    """
    at = len(START)
    while data[at : at + 1] == MARKED and at + 4 < len(data):
        kind = data[at + 1]
        if kind == FILLING:
            at += 1
        elif kind == SCAN:
            return data[at + 4] == colours
        elif kind not in SEGMENTS:
            return False
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return False


def _plain(opened: Image.Image) -> Image.Image:
    """Return the picture as RGB in sRGB, upright, no larger than it is kept, and nothing beside."""
    profile = opened.info.get("icc_profile")
    longest = max(opened.size)
    if longest > SIDE_MOST_PX:
        scale = SIDE_MOST_PX / longest
        opened.draft("RGB", (round(opened.width * scale), round(opened.height * scale)))
    image = opened if opened.mode != "P" else opened.convert("RGBA")
    image.thumbnail((SIDE_MOST_PX, SIDE_MOST_PX), Image.Resampling.LANCZOS)
    image = ImageOps.exif_transpose(image)
    flat = Image.new("RGB", image.size, "white")
    if image.has_transparency_data:
        image = image.convert("RGBA")
        flat.paste(image, mask=image.getchannel("A"))
    else:
        flat.paste(image.convert("RGB"))
    return _in_srgb(flat, profile) if opened.mode == "RGB" else flat


def _in_srgb(picture: Image.Image, profile: bytes | None) -> Image.Image:
    """Return the picture in the colours of every screen: phones write in wider ones."""
    if not profile:
        return picture
    try:
        ours = ImageCms.createProfile("sRGB")
        theirs = ImageCms.ImageCmsProfile(BytesIO(profile))
        changed = ImageCms.profileToProfile(picture, theirs, ours)
    except (ImageCms.PyCMSError, OSError, ValueError):
        return picture  # a profile of something else; the picture is only a little off
    return changed or picture


def _jpeg(picture: Image.Image, quality: int) -> bytes:
    """Return the picture as JPEG. What is not given here is not written, but for what `info` has."""
    picture.info.clear()
    out = BytesIO()
    picture.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()


def _too_many_pixels(value: str, name: str = "JPEG") -> UnderlidError:
    return _beyond(value, f"at most {PIXELS_MOST[name] // 1_000_000} million pixels of a {name}")


def _beyond(value: str, expected: str) -> UnderlidError:
    return UnderlidError(
        "the photo",
        value=Words(value),
        expected=expected,
        next_step="Make it smaller first, or allow scripts, then the browser does.",
    )


def _unreadable(value: str) -> UnderlidError:
    heic = ", or HEIC" if reads_heic() else "; iPhones write JPEG as the most compatible format"
    return UnderlidError(
        "the photo",
        value=Words(value),
        expected=f"a whole JPEG, PNG or WebP picture{heic}",
        next_step="Choose another file.",
    )

"""What is kept of a photo: the picture, upright and small, and nothing that a camera wrote beside it."""

from __future__ import annotations

from contextlib import suppress
from io import BytesIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from drawn import PLACE_WORDS, camera_words, claims_to_be, drawn, in_scans, written
from underlid.errors import UnderlidError
from underlid.files.photos import (
    FULL_MOST_BYTES,
    PHOTO_MOST_BYTES,
    SIDE_MOST_PX,
    SMALL_SIDE_PX,
    prepare_photo,
)

CORNER = {1: (0, 0), 2: (1, 0), 3: (1, 1), 4: (0, 1), 5: (0, 0), 6: (1, 0), 7: (1, 1), 8: (0, 1)}
"""Where the red top left corner goes for each orientation that a camera may write."""


def opened(data: bytes) -> Image.Image:
    picture = Image.open(BytesIO(data))
    picture.load()
    return picture


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(["JPEG", "PNG", "WEBP"]),
    st.sampled_from(sorted(CORNER)),
    st.integers(60, 3000),
    st.integers(60, 3000),
)
def test_nothing_but_the_upright_picture_is_kept(
    format: str, orientation: int, width: int, height: int
) -> None:
    source = drawn(width, height, format, **camera_words(orientation))
    assert PLACE_WORDS in source
    kept = prepare_photo(source)
    for data, most in ((kept.full, SIDE_MOST_PX), (kept.small, SMALL_SIDE_PX)):
        picture = opened(data)
        assert PLACE_WORDS not in data
        assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert not picture.getexif()
        assert (picture.format, picture.mode) == ("JPEG", "RGB")
        assert max(picture.size) == min(most, max(width, height))
    picture = opened(kept.full)
    assert picture.size == (kept.width_px, kept.height_px)
    turned = orientation >= 5
    assert (picture.width > picture.height) == ((width > height) != turned) or width == height
    right, low = CORNER[orientation]
    spot = (
        (picture.width - 6 if right else 5),
        (picture.height - 6 if low else 5),
    )
    red, green, _ = picture.getpixel(spot)  # type: ignore[misc]
    assert red > 170
    assert green < 90


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_orientation_that_there_is_not_leaves_the_picture_as_it_is(orientation: int) -> None:
    kept = prepare_photo(drawn(64, 48, **camera_words(orientation)))
    assert (kept.width_px, kept.height_px) == (64, 48)


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (claims_to_be(30_000, 30_000), "900 million pixels, expected at most 64 million"),
        (claims_to_be(5_000, 5_000), "5000 × 5000 pixels, expected at most 16 million"),
        (claims_to_be(1, 70_000), "1 × 70000 pixels, expected at most 65,535 pixels along a side"),
        (b"GIF89a" + drawn()[6:], "nothing that can be read as a picture"),
        (written(Image.new("RGB", (9, 9)), "GIF"), "nothing that can be read as a picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "nothing that can be read"),
        (b"%PDF-1.7 holiday.jpg", "nothing that can be read"),
        (b"", "nothing that can be read"),
        (drawn(2000, 1500)[:9_000], "cannot be decoded"),
        (b"\xff\xd8" + b"x" * PHOTO_MOST_BYTES, "16.0 MB, expected at most 16 MB"),
    ],
)
def test_what_is_no_photo_is_refused_in_a_sentence(data: bytes, sentence: str) -> None:
    with pytest.raises(UnderlidError, match=sentence) as refusal:
        prepare_photo(data)
    assert str(refusal.value).startswith("the photo is ")


@pytest.mark.parametrize("filling", [b"", b"\xff\xff"])
def test_a_jpeg_in_several_scans_has_the_bound_of_a_progressive_one(filling: bytes) -> None:
    """Its decoder keeps the whole picture in memory: of 64 million pixels 435 MB (measured)."""
    for width, height, scans in ((90, 60, 3), (7000, 4000, 1)):
        data = in_scans(width, height, scans)
        kept = prepare_photo(data[:2] + filling + data[2:])
        assert (kept.width_px, kept.height_px) == (min(width, 2048), min(height, 1170))
    data = in_scans(7000, 4000, 3)
    with pytest.raises(UnderlidError, match="at most 25 million pixels of a progressive JPEG"):
        prepare_photo(data[:2] + filling + data[2:])


@given(st.binary(max_size=300), st.integers(0, 400))
def test_bytes_of_any_kind_are_refused_or_kept_but_never_break(noise: bytes, at: int) -> None:
    """A JPEG with a stretch of anything in it is a picture, or is refused."""
    data = drawn(80, 60)
    with suppress(UnderlidError):
        prepare_photo(data[:at] + noise + data[at + len(noise) :])


def test_the_busiest_picture_stays_within_its_bound() -> None:
    noise = Image.effect_noise((2600, 2600), 120).convert("RGB")
    kept = prepare_photo(written(noise, quality=95))
    assert len(kept.full) <= FULL_MOST_BYTES
    assert len(kept.small) < FULL_MOST_BYTES / 5


@pytest.mark.parametrize("mode", ["RGBA", "P", "L", "LA", "CMYK", "1", "I;16"])
def test_every_way_of_writing_colours_is_read(mode: str) -> None:
    picture = Image.new("RGB", (90, 60), "white").convert("L" if mode == "I;16" else mode)
    format = "JPEG" if mode == "CMYK" else "PNG"
    kept = prepare_photo(written(picture.convert(mode), format))
    assert (kept.width_px, kept.height_px) == (90, 60)


def test_what_one_can_see_through_lies_on_white() -> None:
    clear = Image.new("RGBA", (40, 30), (0, 0, 0, 0))
    assert opened(prepare_photo(written(clear, "PNG")).full).getpixel((20, 15)) == (255, 255, 255)


def test_heic_is_read_where_its_package_is() -> None:
    pytest.importorskip("pillow_heif")
    kept = prepare_photo(drawn(640, 480))
    heic = written(opened(kept.full), "HEIF", exif=camera_words()["exif"])
    again = prepare_photo(heic)
    assert (again.width_px, again.height_px) == (640, 480)
    assert PLACE_WORDS not in again.full


def test_the_same_file_is_known_again() -> None:
    data = drawn()
    assert prepare_photo(data).source_sha256 == prepare_photo(data).source_sha256
    assert prepare_photo(data).source_sha256 != prepare_photo(drawn(641)).source_sha256

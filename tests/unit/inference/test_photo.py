"""Photographs good and bad: what is read, what is refused, and in what words."""

from __future__ import annotations

import importlib
import io
import struct
import sys
import types
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageCms

from classifier.errors import PhotoTooLargeError, UnreadablePhotoError
from classifier.inference import photo as photo_module
from classifier.inference.photo import PhotoLimits, clean_copy, decode_photo, jpeg_copy
from tests import pictures


def quarter_colours(rgb: NDArray[np.uint8]) -> list[tuple[int, ...]]:
    height, width = rgb.shape[:2]
    spots = [(y, x) for y in (height // 4, 3 * height // 4) for x in (width // 4, 3 * width // 4)]
    return [tuple(map(int, rgb[spot])) for spot in spots]


def assert_upright(rgb: NDArray[np.uint8], tolerance: int = 8) -> None:
    found = np.array(quarter_colours(rgb))
    assert np.abs(found - np.array(pictures.QUARTERS)).max() <= tolerance, found


def pixels(data: bytes) -> NDArray[np.uint8]:
    return np.array(Image.open(io.BytesIO(data)))


def test_plain_jpeg_keeps_its_pixels_and_size() -> None:
    photo = decode_photo(pictures.jpeg(160, 120))
    assert photo.rgb.shape == (120, 160, 3)
    assert photo.rgb.dtype == np.uint8
    assert (photo.width, photo.height) == (160, 120)
    assert_upright(photo.rgb)


@pytest.mark.parametrize("size", [(4000, 3000), (3000, 4000), (1793, 899), (900, 900)])
def test_large_jpeg_is_scaled_to_once_or_twice_372_on_its_shorter_side(
    size: tuple[int, int],
) -> None:
    photo = decode_photo(pictures.jpeg(*size))
    assert 372 <= min(photo.rgb.shape[:2]) < 744
    assert (photo.width, photo.height) == size
    ratio = photo.rgb.shape[1] / photo.rgb.shape[0]
    assert ratio == pytest.approx(size[0] / size[1], rel=0.002)
    assert_upright(photo.rgb)


def test_scaled_decode_equals_a_full_decode_but_for_rounding() -> None:
    rng = np.random.default_rng(3)
    soft = Image.fromarray(rng.integers(0, 256, (48, 64, 3), dtype=np.uint8))
    large = soft.resize((2400, 1800), Image.Resampling.BICUBIC)
    fast = decode_photo(pictures.encoded(large, quality=95)).rgb.astype(int)
    slow = decode_photo(pictures.encoded(large, "PNG")).rgb.astype(int)
    assert np.abs(fast - slow).mean() < 2.0


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("size", [(160, 120), (1600, 1200)])
def test_every_exif_orientation_comes_out_upright(orientation: int, size: tuple[int, int]) -> None:
    data = pictures.turned_jpeg(orientation, *size)
    photo = decode_photo(data)
    assert (photo.width, photo.height) == size
    assert_upright(photo.rgb)
    assert_upright(pixels(clean_copy(data)))


@pytest.mark.filterwarnings("ignore:Corrupt EXIF:UserWarning:PIL")
def test_damaged_exif_is_ignored() -> None:
    data = pictures.encoded(pictures.quartered(), quality=95, exif=b"Exif\0\0II*\0\xff\xff\xff\xff")
    assert_upright(decode_photo(data).rgb)


def test_exif_orientation_of_a_wrong_type_is_ignored() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    data = pictures.encoded(pictures.quartered(), quality=95, exif=exif)
    spoilt = data.replace(b"\x01\x12\x00\x03", b"\x01\x12\x00\x02")  # SHORT → ASCII
    assert spoilt != data
    assert_upright(decode_photo(spoilt).rgb)


def test_cmyk_comes_out_in_its_colours() -> None:
    assert_upright(decode_photo(pictures.cmyk_jpeg()).rgb, tolerance=12)


def test_sixteen_bits_are_scaled_to_the_full_range() -> None:
    rgb = decode_photo(pictures.sixteen_bit_png()).rgb
    assert rgb[0, :, 0].tolist() == list(range(256))


@pytest.mark.parametrize("dtype", [np.int32, np.float32])
def test_thirty_two_bits_are_refused(dtype: type) -> None:
    data = pictures.encoded(Image.fromarray(np.full((64, 64), 70_000, dtype=dtype)), "TIFF")
    with pytest.raises(UnreadablePhotoError, match=r"32 bits .* save it as an 8-bit JPEG"):
        decode_photo(data)


@pytest.mark.parametrize(
    "data", [pictures.palette_png(), pictures.half_clear("RGBA")], ids=["palette", "RGBA"]
)
def test_transparency_comes_out_white(data: bytes) -> None:
    rgb = decode_photo(data).rgb
    assert tuple(rgb[30, 10]) == pictures.RED
    assert tuple(rgb[30, 70]) == pictures.WHITE
    assert tuple(pixels(clean_copy(data))[30, 70]) == pictures.WHITE


def test_transparent_grey_comes_out_on_white() -> None:
    rgb = decode_photo(pictures.half_clear("LA")).rgb
    assert len(set(rgb[30, 10].tolist())) == 1
    assert tuple(rgb[30, 70]) == pictures.WHITE


def test_colour_key_transparency_comes_out_white() -> None:
    image = Image.new("RGB", (64, 64), (1, 2, 3))
    rgb = decode_photo(pictures.encoded(image, "PNG", transparency=(1, 2, 3))).rgb
    assert tuple(rgb[0, 0]) == pictures.WHITE


@pytest.mark.parametrize("mode", ["L", "1", "P"])
def test_other_modes_become_rgb(mode: str) -> None:
    photo = decode_photo(pictures.encoded(pictures.quartered().convert(mode), "PNG"))
    assert photo.rgb.shape == (120, 160, 3)


def test_palette_comes_out_in_its_colours() -> None:
    four = pictures.quartered().quantize(4)
    assert four.mode == "P"
    assert_upright(decode_photo(pictures.encoded(four, "PNG")).rgb, tolerance=8)
    assert_upright(pixels(clean_copy(pictures.encoded(four, "PNG"))), tolerance=30)


@pytest.mark.parametrize("form", ["PNG", "WEBP", "BMP", "TIFF", "GIF", "AVIF"])
def test_other_formats_are_read(form: str) -> None:
    assert_upright(decode_photo(pictures.encoded(pictures.quartered(), form)).rgb, tolerance=30)


def test_animation_gives_its_first_frame() -> None:
    rgb = decode_photo(pictures.animated_gif()).rgb
    assert np.abs(rgb[30, 40].astype(int) - np.array(pictures.RED)).max() < 8


def test_two_pictures_of_one_shot_give_the_first() -> None:
    first, second = pictures.quartered(), Image.new("RGB", (160, 120), pictures.BLUE)
    data = pictures.encoded(first, "MPO", save_all=True, append_images=[second], quality=95)
    assert_upright(decode_photo(data).rgb)


def test_colour_profile_is_applied() -> None:
    # A profile of the same primaries with linear light: mid grey must come out far lighter.
    linear = linear_profile()
    grey = Image.new("RGB", (64, 64), (55, 55, 55))
    data = pictures.encoded(grey, "PNG", icc_profile=linear)
    plain = decode_photo(pictures.encoded(grey, "PNG")).rgb[0, 0, 0]
    assert plain == 55
    assert decode_photo(data).rgb[0, 0, 0] == pytest.approx(128, abs=4)
    assert pixels(clean_copy(data))[0, 0, 0] == pytest.approx(128, abs=4)


def linear_profile() -> bytes:
    """Return sRGB's profile with each tone curve replaced by the identity (ICC.1, 'curv', n=0)."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    tags = int.from_bytes(data[128:132], "big")
    for index in range(tags):
        entry = 132 + 12 * index
        if bytes(data[entry : entry + 4]) in (b"rTRC", b"gTRC", b"bTRC"):
            start = int.from_bytes(data[entry + 4 : entry + 8], "big")
            data[start : start + 12] = b"curv\0\0\0\0\0\0\0\0"
            data[entry + 8 : entry + 12] = (12).to_bytes(4, "big")
    return bytes(data)


@pytest.mark.parametrize("profile", [b"no profile at all", pictures.swapped_profile()])
def test_unfit_colour_profile_is_ignored(profile: bytes) -> None:
    data = pictures.encoded(pictures.quartered(), "PNG", icc_profile=profile)
    assert_upright(decode_photo(data).rgb, tolerance=0)


BAD = {
    "empty": (b"", r"empty \(0 bytes\).*take the photograph again"),
    "text": (pictures.text_as_jpeg(), r"is text.*allowed: one photograph as JPEG.*still"),
    "truncated JPEG": (pictures.truncated_jpeg(), r"breaks off after [\d,]+ bytes.*send it again"),
    "truncated PNG": (pictures.truncated_png(), r"breaks off after|damaged"),
    "half a header": (pictures.jpeg()[:8], r"breaks off after 8 bytes"),
    "noise": (bytes(range(7, 256)) * 9, r"2,241 bytes that no picture format begins with"),
    "MP4": (pictures.box_file(b"isom"), r"a video \(MP4 or QuickTime\).*still photograph"),
    "MOV": (pictures.box_file(b"qt  "), r"a video \(MP4 or QuickTime\)"),
    "old MOV": (b"\0\0\1\0moov" + b"\0" * 64, r"a video \(QuickTime\)"),
    "WebM": (b"\x1aE\xdf\xa3" + b"\0" * 64, r"a video \(WebM or Matroska\)"),
    "AVI": (b"RIFF\0\1\0\0AVI LIST", r"a video or sound file"),
    "HEIC": (pictures.box_file(b"heic"), r"HEIC.*set the phone's camera format to 'most comp"),
    "HEIF": (pictures.box_file(b"mif1"), r"HEIC.*or convert the file"),
    "AVIF": (pictures.box_file(b"avif"), r"AVIF picture that can't be decoded.*as JPEG"),
    "PDF": (b"%PDF-1.7\n" + b"\0" * 64, r"a PDF document.*photograph the item"),
    "SVG": (b"<?xml version='1.0'?><svg xmlns='x'/>", r"an SVG drawing"),
    "HTML": (b"<!DOCTYPE html><p>404", r"a web page.*save the picture itself"),
    "ZIP": (b"PK\x03\x04" + b"\0" * 64, r"ZIP archive.*unpack it"),
    "JPEG XL": (b"\xff\x0a" + b"\x91" * 64, r"JPEG XL.*save it as JPEG"),
    "tiny": (pictures.jpeg(40, 31), r"only 40 x 31 pixels; allowed: 32 pixels or more"),
    "unfit PNG": (pictures.png_header(64, 64), r"damaged|breaks off"),
}


@pytest.mark.parametrize(("data", "message"), BAD.values(), ids=BAD.keys())
def test_what_is_no_photograph_is_refused(data: bytes, message: str) -> None:
    with pytest.raises(UnreadablePhotoError, match=message):
        decode_photo(data)
    with pytest.raises(UnreadablePhotoError, match=message):
        clean_copy(data)


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
def test_two_hundred_megapixels_are_refused_from_the_header() -> None:
    with pytest.raises(PhotoTooLargeError) as caught:
        decode_photo(pictures.png_header(16_000, 12_500))
    assert caught.value.message == (
        "the picture measures 16000 x 12500 pixels (200 megapixels); allowed: at most 120 "
        "megapixels; choose a lower resolution in the camera, or save the picture smaller"
    )
    assert caught.value.details == {"given_pixels": 200_000_000, "max_pixels": 120_000_000}


@pytest.mark.parametrize(
    "data", [pictures.gif_of(45_000, 49_000), pictures.png_header(20_000, 20_000)]
)
def test_bomb_is_refused_while_it_is_opened(data: bytes) -> None:
    # In these words Pillow's own limit spoke: ours comes after the GIF reader has filled a canvas.
    with pytest.raises(PhotoTooLargeError, match=r"would unfold .* at most 120 megapixels; choose"):
        decode_photo(data)


def test_small_file_of_many_pixels_is_refused_before_it_unfolds() -> None:
    with pytest.raises(PhotoTooLargeError, match=r"20 megapixels\); allowed: at most 10 mega"):
        decode_photo(pictures.compressed_bomb(), PhotoLimits(max_pixels=10_000_000))


def test_what_cannot_be_decoded_small_may_measure_less() -> None:
    with pytest.raises(PhotoTooLargeError, match=r"the picture .* at most 25 mega.* plain JPEG"):
        decode_photo(pictures.png_header(7_000, 5_000))
    with pytest.raises(PhotoTooLargeError, match=r"the progressive JPEG measures 160 x 120"):
        decode_photo(pictures.scans_jpeg(0), PhotoLimits(max_unfolded_pixels=10_000))
    assert decode_photo(pictures.jpeg(), PhotoLimits(max_unfolded_pixels=10_000)).width == 160


def test_jpeg_of_endless_scans_is_refused() -> None:
    assert decode_photo(pictures.scans_jpeg(0)).width == 160
    with pytest.raises(UnreadablePhotoError, match=r"over 5\d\d scans; allowed: at most 40, cam"):
        decode_photo(pictures.scans_jpeg(500))
    assert decode_photo(pictures.scans_jpeg(30)).width == 160, "40 scans"
    with pytest.raises(UnreadablePhotoError, match="over 41 scans"):
        decode_photo(pictures.scans_jpeg(31))


@pytest.mark.parametrize("size", [(40, 60_000), (60_000, 40)])
@pytest.mark.parametrize("form", ["PNG", "JPEG"])
def test_strip_keeps_no_endless_side(size: tuple[int, int], form: str) -> None:
    photo = decode_photo(pictures.encoded(Image.new("L", size), form))
    assert max(photo.rgb.shape) == photo_module.LONG_SIDE_PX
    assert (photo.width, photo.height) == size


def test_sixty_megabytes_are_refused() -> None:
    with pytest.raises(PhotoTooLargeError, match=r"60\.0 MB; allowed: at most 40\.0 MB; choose"):
        decode_photo(pictures.jpeg() + bytes(60_000_000 - len(pictures.jpeg())))


@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
@given(st.data())
@settings(max_examples=300, deadline=None)
def test_changed_bytes_are_read_or_refused_but_never_crash(data: st.DataObject) -> None:
    whole = data.draw(st.sampled_from([pictures.jpeg(48, 40), pictures.palette_png()]))
    spoilt = bytearray(whole[: data.draw(st.integers(0, len(whole)))])
    for _ in range(data.draw(st.integers(0, 6))):
        if spoilt:
            spoilt[data.draw(st.integers(0, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
    try:
        shape = decode_photo(bytes(spoilt), PhotoLimits(max_pixels=1_000_000)).rgb.shape
    except (UnreadablePhotoError, PhotoTooLargeError):
        return
    assert shape[2] == 3


def test_clean_copy_is_small_upright_and_bare() -> None:
    data = pictures.turned_jpeg(6, 3000, 2000)
    assert b"private remark" in data
    copy = clean_copy(data)
    with Image.open(io.BytesIO(copy)) as image:
        assert image.format == "JPEG"
        assert image.size == (1024, 683)
        assert not image.getexif()
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi"}
    assert b"Exif" not in copy
    assert b"Camera maker" not in copy
    assert segments(copy) <= {0xE0, 0xDB, 0xC0, 0xC4, 0xDA}


def segments(jpeg: bytes) -> set[int]:
    """Return the markers of a JPEG up to its pixels: E0 JFIF, E1 EXIF, E2 ICC, FE comment."""
    at, found = 2, set()
    while jpeg[at + 1] != 0xDA:
        found.add(jpeg[at + 1])
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
    return found | {0xDA}


@pytest.mark.parametrize(
    ("size", "side", "expected"),
    [
        ((4000, 3000), 512, (500, 375)),  # an eighth
        ((4032, 3024), 1024, (1008, 756)),  # a quarter, which is decoded in half the time
        ((3000, 2000), 1024, (1024, 683)),
        ((1024, 768), 512, (512, 384)),
        ((300, 200), 512, (300, 200)),
    ],
)
def test_one_decoding_serves_the_network_and_the_copy(
    size: tuple[int, int], side: int, expected: tuple[int, int]
) -> None:
    photo = decode_photo(pictures.jpeg(*size), copy_side=side)
    assert min(photo.rgb.shape[:2]) >= min(372, *size)
    with Image.open(io.BytesIO(jpeg_copy(photo, max_side=side))) as image:
        assert image.size == expected
        assert_upright(np.asarray(image))


def test_clean_copy_does_not_enlarge() -> None:
    assert pixels(clean_copy(pictures.jpeg(160, 120))).shape == (120, 160, 3)


def test_heic_is_read_where_a_reader_is_installed(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    calls: list[str] = []
    reader = types.ModuleType("pillow_heif")
    reader.register_heif_opener = lambda: calls.append("registered")  # type: ignore[attr-defined]
    (tmp_path / "pillow_heif.py").write_text("")
    monkeypatch.syspath_prepend(tmp_path)
    importlib.invalidate_caches()
    monkeypatch.setitem(sys.modules, "pillow_heif", reader)
    reader.__spec__ = importlib.machinery.ModuleSpec("pillow_heif", None)
    photo_module._heif_reader_registered.cache_clear()
    try:
        with pytest.raises(UnreadablePhotoError, match="damaged"):  # the stand-in reads nothing
            decode_photo(pictures.box_file(b"heic"))
        assert calls == ["registered"]
    finally:
        photo_module._heif_reader_registered.cache_clear()


def test_a_heic_that_its_reader_refuses_is_damaged(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise SyntaxError("no picture in it")

    monkeypatch.setattr(photo_module, "_heif_reader_registered", lambda: True)
    monkeypatch.setitem(Image.OPEN, "HEIF", (refuse, None))
    with pytest.raises(UnreadablePhotoError, match=r"damaged \(its content is no picture\)"):
        decode_photo(pictures.box_file(b"heic"))


def _png_of_empty_chunks(count: int) -> bytes:
    whole = pictures.palette_png()
    empty = struct.pack(">I", 0) + b"prVt" + struct.pack(">I", zlib.crc32(b"prVt"))
    return whole[:33] + empty * count + whole[33:]


def _gif_of_comments(count: int) -> bytes:
    whole = pictures.encoded(Image.new("P", (40, 40)), "GIF")
    start = 13 + 3 * (2 << (whole[10] & 7))
    return whole[:start] + b"!\xfe\x01a\0" * count + whole[start:]


@pytest.mark.parametrize("made", [_png_of_empty_chunks, _gif_of_comments])
def test_floods_of_empty_pieces_are_refused(made: Callable[[int], bytes]) -> None:
    """Decoders go through them one by one, in Python; a few are nothing."""
    decode_photo(made(100))
    with pytest.raises(UnreadablePhotoError, match="cut into more than"):
        decode_photo(made(photo_module.MOST_READS // 2))


def test_a_jpeg_of_fill_bytes_reaches_no_decoder(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError

    monkeypatch.setattr(Image, "open", never)
    whole = pictures.jpeg()
    with pytest.raises(UnreadablePhotoError, match="before its picture"):
        decode_photo(whole[:2] + b"\xff" * 1_000_000 + whole[2:])

"""What a file that is no readable photograph seems to be, in words a person can act on."""

from __future__ import annotations

_HEAD_BYTES = 1024
_HEIF_BRANDS = frozenset(
    {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"heif", b"mif1", b"msf1"}
)
_AVIF_BRANDS = frozenset({b"avif", b"avis"})
_QUICKTIME_ATOMS = (b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot")

ALLOWED = "allowed: one photograph as JPEG, PNG or WebP"
_SEND_ONE = "take or choose a still photograph"

_BY_START: tuple[tuple[bytes, str, str], ...] = (
    (b"\x1aE\xdf\xa3", "a video (WebM or Matroska)", _SEND_ONE),
    (b"OggS", "a sound or video file (Ogg)", _SEND_ONE),
    (b"FLV", "a video (Flash)", _SEND_ONE),
    (b"\x00\x00\x01\xba", "a video (MPEG)", _SEND_ONE),
    (b"\x00\x00\x01\xb3", "a video (MPEG)", _SEND_ONE),
    (b"PK\x03\x04", "a ZIP archive or office document", "unpack it and send the photograph"),
    (b"\x1f\x8b", "a compressed archive (gzip)", "unpack it and send the photograph"),
    (b"\xff\x0a", "a JPEG XL picture", "save it as JPEG and send that"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture", "save it as JPEG and send that"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture", "save it as JPEG and send that"),
    (b"8BPS", "a Photoshop document", "save it as JPEG and send that"),
)


def explain(data: bytes) -> str:
    """Return one sentence: what the bytes seem to be, what is allowed, what to do."""
    given, fix = _given_and_fix(data)
    return f"the file is {given}; {ALLOWED}; {fix}"


def is_heif(data: bytes) -> bool:
    """Tell whether the bytes are a HEIC or HEIF picture, as many phones store by default."""
    return data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS


def _given_and_fix(data: bytes) -> tuple[str, str]:
    head = data[:_HEAD_BYTES]
    if is_heif(data):
        return "a HEIC photograph, which this installation can't read", (
            "set the phone's camera format to 'most compatible' (JPEG), or convert the file"
        )
    if head[4:8] == b"ftyp":
        if head[8:12] in _AVIF_BRANDS:
            return "an AVIF picture that can't be decoded", "save it as JPEG and send that"
        return "a video (MP4 or QuickTime)", _SEND_ONE
    if head[4:8] in _QUICKTIME_ATOMS:
        return "a video (QuickTime)", _SEND_ONE
    if head[:4] == b"RIFF" and head[8:12] in (b"AVI ", b"WAVE"):
        return "a video or sound file (AVI or WAV)", _SEND_ONE
    for start, given, fix in _BY_START:
        if head.startswith(start):
            return given, fix
    return _document_or_damage(data, head)


def _document_or_damage(data: bytes, head: bytes) -> tuple[str, str]:
    lowered = head.lower()
    if b"%pdf-" in lowered:
        return "a PDF document", "export the page as JPEG, or photograph the item"
    if b"<svg" in lowered:
        return "an SVG drawing", _SEND_ONE
    if lowered.lstrip().startswith((b"<!doctype html", b"<html")):
        return "a web page, not the picture on it", "save the picture itself and send that"
    if _is_text(head):
        return "text, whatever its name says", _SEND_ONE
    return (
        f"{len(data):,} bytes that no picture format begins with, or a damaged header",
        "take the photograph again, or save it as JPEG",
    )


def _is_text(head: bytes) -> bool:
    try:
        # The cut at the end of the head may split one character of several bytes.
        text = head.decode("utf-8", errors="ignore" if len(head) == _HEAD_BYTES else "strict")
    except UnicodeDecodeError:
        return False
    printable = sum(character.isprintable() or character in "\r\n\t" for character in text)
    return len(text) > 0 and printable >= 0.95 * len(text) and len(text) * 4 >= len(head)

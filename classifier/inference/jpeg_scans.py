"""How a JPEG is laid out: in one pass over its picture, or in many that must all be held at once.

A baseline JPEG comes row by row and can be decoded small. One in several scans (progressive, or
one colour after the other) must be unfolded whole before its first row is known, and each scan
passes over all of it: a hostile file of a few hundred kilobytes can hold thousands (libjpeg-turbo,
"Two issues with the JPEG standard", 2015).
"""

from __future__ import annotations

from classifier.errors import UnreadablePhotoError

MOST_MARKERS = 10_000
"""Before the picture; honest files have a few dozen. Each costs a decoder a step in Python."""
MOST_FILL_BYTES = 100_000
_START = b"\xff\xd8"
_SCAN = b"\xff\xda"
_ALONE = frozenset({0x01, *range(0xD0, 0xD9)})  # markers without a length
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_ONE_PASS_FRAMES = frozenset({0xC0, 0xC1})


def count_scans(data: bytes) -> int:
    """Return over how many scans the picture in `data` is spread, 0 if `data` is no JPEG.

    1 is a picture that can be decoded row by row; one that can't counts 2 at least. Other pictures
    in the same file count too, since telling them apart would need a whole decoder; honest files
    have a dozen scans.

    Raises UnreadablePhotoError for a flood of markers or fill bytes before the picture.
    """
    if not data.startswith(_START):
        return 0
    first, one_pass = _first_scan(data)
    # Within the coded pixels 0xFF is always followed by 0x00 or a restart marker.
    return 1 if one_pass else max(2, data.count(_SCAN, first))


def _first_scan(data: bytes) -> tuple[int, bool]:
    """Return where the first scan begins and whether it alone holds the whole picture."""
    components, one_pass_frame = 0, False
    markers = fill = 0
    at = len(_START)
    while (found := data.find(b"\xff", at)) != -1 and found + 1 < len(data):
        markers, fill, at = markers + 1, fill + found - at, found
        marker = data[at + 1]
        if marker == 0xFF:
            markers, fill = markers - 1, fill + 1
        if markers > MOST_MARKERS or fill > MOST_FILL_BYTES:
            raise UnreadablePhotoError(
                f"the JPEG holds more than {MOST_MARKERS:,} markers or {MOST_FILL_BYTES:,} fill "
                "bytes before its picture; allowed: a few dozen, as cameras write; save it as "
                "plain JPEG and send that"
            )
        if marker == 0xFF or marker == 0 or marker in _ALONE:
            at += 1 if marker == 0xFF else 2
            continue
        body = data[at + 4 : at + 10]
        if marker == _SCAN[1]:
            return at, one_pass_frame and body[:1] == bytes([components])
        if marker in _FRAMES and len(body) == 6:
            components, one_pass_frame = body[5], marker in _ONE_PASS_FRAMES
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return len(data), True

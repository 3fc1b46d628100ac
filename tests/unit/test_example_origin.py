"""Where an imported photo comes from: the text holds its digests however long the place is."""

from __future__ import annotations

import pytest

from service.examples.origin import LONGEST, MOST_EARLIER, origin_of, read_origin

OWN, *EARLIER = (f"{n:064x}" for n in range(2, 8))


@pytest.mark.parametrize("earlier", [0, 1, MOST_EARLIER])
@pytest.mark.parametrize("where", ["Their set/food/a.jpg", f"set/a sha256:{OWN}/b.jpg"])
def test_what_goes_in_comes_out(where: str, earlier: int) -> None:
    text = origin_of(where, OWN, EARLIER[:earlier])
    assert read_origin(text) == (where, (*EARLIER[:earlier], OWN))
    assert text.endswith(f" sha256:{OWN}")


def test_a_long_place_is_cut_and_the_latest_digests_are_kept() -> None:
    text = origin_of("x" * 500, OWN, EARLIER)
    assert len(text) == LONGEST
    assert read_origin(text)[1] == (*EARLIER[-MOST_EARLIER:], OWN)


def test_a_text_without_a_digest_is_a_place() -> None:
    assert read_origin("a set") == ("a set", ())

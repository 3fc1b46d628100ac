"""Starting a sort: what it needs and what it refuses."""

from __future__ import annotations

from typing import Any

import pytest

from classifier.domain.errors import InvalidEntryError, InvalidQuantityError, UnknownIdError
from service.usecases.services import Services
from service.usecases.sorts import get_sort
from tests.store.entries import start


def test_a_sort_is_read_back_as_it_was_started(services: Services) -> None:
    """Texts without the spaces around them, numbers as numbers."""
    made = start(services, name="  Bag é ", days="14", persons="3", keeps_photos=True)
    assert (made.name, made.days, made.persons, made.keeps_photos) == ("Bag é", 14, 3, True)
    assert get_sort(services, made.id) == made
    assert get_sort(services, made.id.upper()) == made
    assert made.created_at.utcoffset() is not None


@pytest.mark.parametrize(
    ("given", "error", "said"),
    [
        ({"name": " "}, InvalidEntryError, "name is empty"),
        ({"name": "n" * 121}, InvalidEntryError, "shorten it to 120"),
        ({"days": 0}, InvalidQuantityError, "days"),
        ({"days": "a week"}, InvalidQuantityError, "days"),
        ({"persons": 0}, InvalidQuantityError, "persons"),
        ({"programme_id": "nowhere"}, UnknownIdError, "alder_valley, port_sable"),
        ({"sort_id": "my-sort"}, InvalidEntryError, "no UUID"),
        ({"sorters": [f"s{n}" for n in range(51)]}, InvalidEntryError, "at most 50"),
    ],
)
def test_a_bad_sort_is_refused(
    services: Services, given: dict[str, Any], error: type[Exception], said: str
) -> None:
    """With what is allowed."""
    with pytest.raises(error, match=said):
        start(services, **given)

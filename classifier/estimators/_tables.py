"""Checks of tables of verified items: rows the strata or predictions, columns the truth."""

from __future__ import annotations

from collections.abc import Sequence

from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats, matrix, vector


def named(names: Sequence[str], size: int, what: str) -> tuple[str, ...]:
    """Return the names, one for each entry and all different.

    Raises
    ------
    ValueError
        If their number is not `size` or a name is given twice.

    Examples
    --------
    >>> named(["can", "jar"], 2, "categories")
    ('can', 'jar')
    """
    if len(names) != size:
        raise ValueError(f"{what} gives {len(names)} names for {size} entries: give one for each")
    twice = sorted({name for name in names if list(names).count(name) > 1})
    if twice:
        raise ValueError(f"{what} gives {', '.join(twice)} more than once: use different names")
    return tuple(names)


def counted(values: ArrayLike, name: str) -> Floats:
    """Return a matrix of whole numbers that are not below 0, such as verified items.

    Raises
    ------
    ValueError
        If the shape or an entry is not allowed.
    """
    table = matrix(values, name)
    if table.min() < 0 or (table % 1).any():
        raise ValueError(f"{name} holds a number that is no count: give whole numbers from 0")
    return table


def sizes_of(values: ArrayLike, name: str) -> Floats:
    """Return a vector that is not below 0 and has a sum above 0, such as items by prediction.

    Raises
    ------
    ValueError
        If an entry is below 0 or there is nothing at all.
    """
    sizes = vector(values, name)
    if sizes.min() < 0:
        raise ValueError(f"{name} goes down to {sizes.min()}: none may be below 0")
    if sizes.sum() == 0:
        raise ValueError(f"{name} is 0 throughout: there is nothing to correct")
    return sizes


def enough_verified(verified: Floats, sizes: Floats, strata: Sequence[str]) -> None:
    """Refuse strata whose error can't be estimated.

    Raises
    ------
    ValueError
        If more items were verified than the stratum has, or fewer than two of a stratum that was
        not verified wholly.
    """
    for name, n, size in zip(strata, verified.tolist(), sizes.tolist(), strict=True):
        if n > size:
            raise ValueError(
                f"{name}: {n:g} verified of {size:g} items: the verified are a part of the items"
            )
        if n < 2 and n < size:
            raise ValueError(
                f"{name}: {n:g} of {size:g} items verified, too few to know their error: verify at "
                "least 2, or join it with other strata (pool_sparse_strata)"
            )


def chosen_from(value: str, allowed: Sequence[str], name: str) -> str:
    """Return an option that is among the allowed ones.

    Raises
    ------
    ValueError
        If it is another.
    """
    if value not in allowed:
        raise ValueError(f"{name} {value!r} is not known: give one of {', '.join(allowed)}")
    return value

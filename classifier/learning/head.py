"""The learned head: a correction to the shipped probabilities, and its form as plain bytes."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import scipy
from numpy.typing import NDArray

from classifier.errors import InvalidEntryError
from classifier.learning.confirmation import Floats

Single = NDArray[np.float32]

FORMAT = 1
MOST_BYTES = 16_000_000
MOST_CATEGORIES = 500
MOST_FEATURES = 8192
_MOST_JSON = 200_000
_MOST_NAME = 400
_LARGEST = 1e6  # no honest weight comes near; keeps the sums finite


class HeadError(InvalidEntryError):
    """A learned head that is damaged, or belongs to another model or category list."""

    code: ClassVar[str] = "learned_head"


@dataclass(frozen=True, slots=True, eq=False)
class LearnedHead:
    """What a study learned on top of one model.

    Attributes
    ----------
    model : str
        Label of the model whose embeddings it reads; meaningless on any other's.
    categories : tuple of str
        Ids of the C categories, in the order of all arrays.
    weights : float32 array of shape (C, D)
        Correction of the logits for a unit embedding.
    bias : float32 array of shape (C,)
        Correction that holds whatever the photo shows.
    confirmations : int
        How many confirmations it was learned from, those of its start included.
    """

    model: str
    categories: tuple[str, ...]
    weights: Single
    bias: Single
    confirmations: int

    @property
    def features(self) -> int:
        """D, the length of an embedding."""
        return int(self.weights.shape[1])

    def probabilities(self, embedding: NDArray[np.floating], shipped: Floats) -> Floats:
        """Return corrected probabilities: (D,) and (C,) to (C,), summing to 1.

        Raises
        ------
        ValueError
            If the embedding or the shipped probabilities have another length.
        """
        if embedding.shape != (self.features,) or shipped.shape != (len(self.categories),):
            raise ValueError(
                f"embedding {embedding.shape} and shipped {shipped.shape} do not fit a head for "
                f"({self.features},) and ({len(self.categories)},)"
            )
        logits = np.log(shipped) + self.weights @ unit(embedding[None])[0] + self.bias
        return np.asarray(scipy.special.softmax(logits), dtype=np.float64)

    def check_model(self, model: str, categories: tuple[str, ...]) -> None:
        """Refuse to be used on another model's embeddings or other categories.

        Raises
        ------
        HeadError
            If the model or the categories differ.
        """
        if self.model != model:
            raise HeadError(
                f"this head was learned on the model {self.model}; the model in use is {model}: "
                "switch to that model, or start without the head",
                given=self.model,
                allowed=model,
            )
        if self.categories != categories:
            raise HeadError(
                f"this head knows {len(self.categories)} categories, not the {len(categories)} of "
                "the category list in use; start without the head",
                given=len(self.categories),
                allowed=len(categories),
            )

    def to_bytes(self) -> bytes:
        """Write it as an npz archive without pickles; the same head gives the same bytes."""
        about = {
            "format": FORMAT,
            "model": self.model,
            "categories": list(self.categories),
            "confirmations": self.confirmations,
        }
        return _archive(
            {
                "about": np.frombuffer(json.dumps(about).encode(), dtype=np.uint8),
                "weights": self.weights.astype("<f4"),
                "bias": self.bias.astype("<f4"),
            }
        )

    @classmethod
    def from_bytes(cls, content: bytes) -> LearnedHead:
        """Read what `to_bytes` wrote, whoever sends it.

        Raises
        ------
        HeadError
            If it is too large, damaged, of another format or holds impossible values.
        """
        if len(content) > MOST_BYTES:
            raise HeadError(
                f"the file has {len(content):,} bytes; a learned head has at most "
                f"{MOST_BYTES:,}; give the file that was exported",
                given=len(content),
                allowed=MOST_BYTES,
            )
        try:
            return cls._read(content)
        except Exception as error:  # zip, zlib, json and numpy raise a dozen kinds
            reason = str(error).partition("\n")[0][:_MOST_NAME] or type(error).__name__
            raise HeadError(
                f"this is no learned head ({reason}); give the file that was exported, unchanged"
            ) from error

    @classmethod
    def _read(cls, content: bytes) -> LearnedHead:
        members = _members(content)
        about = json.loads(members["about"].tobytes())
        if about["format"] != FORMAT:
            raise ValueError(f"format {about['format']!r}; this version reads format {FORMAT}")
        model, count, categories = about["model"], about["confirmations"], about["categories"]
        if not isinstance(model, str) or not 0 < len(model) <= _MOST_NAME:
            raise ValueError("the model's label is missing or too long")
        if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count < 2**31:
            raise ValueError("the number of confirmations is no count")
        weights = _numbers(members["weights"], 2)
        bias = _numbers(members["bias"], 1)
        return cls(model, _names(categories, len(bias), len(weights)), weights, bias, count)


def unit(embeddings: NDArray[np.floating]) -> Single:
    """Scale embeddings to length 1, so that a penalty means the same on every network: (n, D)."""
    single = embeddings.astype(np.float32)
    length = np.linalg.norm(single, axis=1, keepdims=True)
    return np.asarray(single / np.maximum(length, 1e-9), dtype=np.float32)


def _archive(arrays: dict[str, NDArray[Any]]) -> bytes:
    """Like numpy.savez, with a fixed time stamp, so that equal heads give equal files."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, array in arrays.items():
            member = io.BytesIO()
            np.lib.format.write_array(member, array, allow_pickle=False)
            archive.writestr(
                zipfile.ZipInfo(f"{name}.npy"), member.getvalue(), zipfile.ZIP_DEFLATED
            )
    return stream.getvalue()


def _members(content: bytes) -> dict[str, NDArray[Any]]:
    """Unpack the arrays, none of which may be larger than a head can be."""
    most = {
        "about": _MOST_JSON,
        "weights": min(4 * MOST_CATEGORIES * MOST_FEATURES, MOST_BYTES),
        "bias": 4 * MOST_CATEGORIES,
    }
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        found = {}
        for name, size in most.items():
            with archive.open(f"{name}.npy") as member:
                raw = member.read(size + 1024)  # what a member claims to be long may not be true
            if len(raw) > size + 1000:
                raise ValueError(f"{name} is larger than a head's can be")
            found[name] = _array(raw)
    return found


def _array(raw: bytes) -> NDArray[Any]:
    """One array of the archive: its header is checked against its length before memory is had."""
    stream = io.BytesIO(raw)
    if np.lib.format.read_magic(stream) != (1, 0):
        raise ValueError("array format other than 1.0")
    shape, _, dtype = np.lib.format.read_array_header_1_0(stream, max_header_size=1000)
    if dtype not in (np.dtype("<f4"), np.dtype("u1")):
        raise ValueError(f"numbers of type {dtype}")
    entries = 1
    for length in shape:
        entries *= length
    if entries * dtype.itemsize != len(raw) - stream.tell():
        raise ValueError("an array of another length than it says")
    stream.seek(0)
    return np.asarray(np.lib.format.read_array(stream, allow_pickle=False))


def _numbers(array: NDArray[Any], axes: int) -> Single:
    if array.ndim != axes or array.dtype != np.dtype("<f4") or array.size == 0:
        raise ValueError(f"weights of shape {array.shape}")
    if not (np.abs(array) <= _LARGEST).all():
        raise ValueError("weights that are not finite or far too large")
    return np.ascontiguousarray(array, dtype=np.float32)


def _names(names: object, *lengths: int) -> tuple[str, ...]:
    if not isinstance(names, list) or not 2 <= len(names) <= MOST_CATEGORIES:
        raise ValueError("no list of categories")
    if not all(isinstance(name, str) and 0 < len(name) <= _MOST_NAME for name in names):
        raise ValueError("a category without a name")
    if len(set(names)) != len(names) or {len(names)} != set(lengths):
        raise ValueError("as many categories as rows of weights, each once, are needed")
    return tuple(names)

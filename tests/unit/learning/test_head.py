"""A head as bytes: round trip, and whatever a stranger sends instead."""

from __future__ import annotations

import io
import json
import pickle
import struct
import zipfile

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.learning import head as head_module
from classifier.learning.head import HeadError, LearnedHead


def made(categories: int = 4, features: int = 6) -> LearnedHead:
    random = np.random.default_rng(0)
    return LearnedHead(
        "household 2026.11.25",
        tuple(f"category {i}" for i in range(categories)),
        random.normal(size=(categories, features)).astype(np.float32),
        random.normal(size=categories).astype(np.float32),
        17,
    )


def npy(array: np.ndarray) -> bytes:
    stream = io.BytesIO()
    np.save(stream, array)
    return stream.getvalue()


def archive(**changed: bytes) -> bytes:
    """Build the archive of a good head with some members replaced; empty bytes leave one out."""
    with zipfile.ZipFile(io.BytesIO(made().to_bytes())) as good:
        members = {name.removesuffix(".npy"): good.read(name) for name in good.namelist()}
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as bad:
        for name, content in {**members, **changed}.items():
            if content:
                bad.writestr(f"{name}.npy", content)
    return stream.getvalue()


def about(**changed: object) -> bytes:
    said = {
        "format": 1,
        "model": "m",
        "categories": [f"category {i}" for i in range(4)],
        "confirmations": 3,
    }
    text = json.dumps({**said, **changed}).encode()
    return npy(np.frombuffer(text, dtype=np.uint8))


def test_what_is_written_is_read_again() -> None:
    head = made()
    read = LearnedHead.from_bytes(head.to_bytes())
    assert (read.model, read.categories, read.confirmations) == (
        head.model,
        head.categories,
        head.confirmations,
    )
    np.testing.assert_array_equal(read.weights, head.weights)
    np.testing.assert_array_equal(read.bias, head.bias)
    assert read.to_bytes() == head.to_bytes()
    embedding, shipped = np.arange(6, dtype=np.float32), np.full(4, 0.25)
    np.testing.assert_array_equal(
        read.probabilities(embedding, shipped), head.probabilities(embedding, shipped)
    )
    assert read.probabilities(embedding, shipped).sum() == pytest.approx(1.0)


def test_a_head_of_zeros_is_the_shipped_model() -> None:
    head = LearnedHead("m", ("a", "b"), np.zeros((2, 3), np.float32), np.zeros(2, np.float32), 0)
    shipped = np.array([0.3, 0.7])
    np.testing.assert_allclose(head.probabilities(np.ones(3), shipped), shipped)


def test_lengths_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        made().probabilities(np.ones(5), np.full(4, 0.25))
    with pytest.raises(ValueError, match="do not fit"):
        made().probabilities(np.ones(6), np.full(3, 1 / 3))


BAD = {
    "nothing": b"",
    "text": b"hello",
    "a pickle": pickle.dumps({"weights": [1, 2]}),
    "no weights": archive(weights=b""),
    "weights of doubles": archive(weights=npy(np.zeros((4, 6)))),
    "weights as objects": archive(weights=npy(np.array([[{}]], dtype=object))),
    "weights of one axis": archive(weights=npy(np.zeros(24, np.float32))),
    "weights of no photo": archive(weights=npy(np.zeros((4, 0), np.float32))),
    "not a number": archive(weights=npy(np.full((4, 6), np.nan, np.float32))),
    "infinite": archive(bias=npy(np.full(4, np.inf, np.float32))),
    "too few rows": archive(weights=npy(np.zeros((3, 6), np.float32))),
    "too few biases": archive(bias=npy(np.zeros(3, np.float32))),
    "a text for an array": archive(bias=b"\x93NUMPY\x01\x00" + b"x" * 50),
    "a newer array format": archive(bias=b"\x93NUMPY\x02\x00" + b"x" * 50),
    "another format": archive(about=about(format=2)),
    "no JSON": archive(about=npy(np.frombuffer(b"{", dtype=np.uint8))),
    "JSON of a list": archive(about=npy(np.frombuffer(b"[1]", dtype=np.uint8))),
    "deep JSON": archive(about=npy(np.frombuffer(b"[" * 100_000, dtype=np.uint8))),
    "no model": archive(about=about(model="")),
    "a long model": archive(about=about(model="m" * 500)),
    "a negative count": archive(about=about(confirmations=-1)),
    "a truth for a count": archive(about=about(confirmations=True)),
    "twice the same category": archive(about=about(categories=["a", "a", "b", "c"])),
    "categories without a name": archive(about=about(categories=["a", "", "b", "c"])),
    "categories as a text": archive(about=about(categories="abcd")),
    "a huge member": archive(bias=npy(np.zeros(1_000_000, np.float32))),
}


@pytest.mark.parametrize("content", BAD.values(), ids=BAD.keys())
def test_hostile_bytes_are_refused_with_one_error(content: bytes) -> None:
    with pytest.raises(HeadError, match="no learned head"):
        LearnedHead.from_bytes(content)


def test_a_header_that_claims_gigabytes_costs_none() -> None:
    text = b"{'descr': '<f4', 'fortran_order': False, 'shape': (50000, 50000), }"
    header = text + b" " * (117 - len(text)) + b"\n"
    lying = b"\x93NUMPY\x01\x00" + struct.pack("<H", len(header)) + header + b"\x00" * 64
    with pytest.raises(HeadError, match="another length"):
        LearnedHead.from_bytes(archive(weights=lying))


def test_a_file_that_is_too_large_is_not_even_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(head_module, "MOST_BYTES", 100)
    with pytest.raises(HeadError, match="at most 100"):
        LearnedHead.from_bytes(made().to_bytes())


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_damaged_bytes_never_raise_anything_else(data: st.DataObject) -> None:
    good = bytearray(made().to_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        good[data.draw(st.integers(0, len(good) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(good)))
    for content in (bytes(good), bytes(good[:cut])):
        try:
            head = LearnedHead.from_bytes(content)
        except HeadError:
            continue
        assert np.isfinite(head.weights).all()

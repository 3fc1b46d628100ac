"""A bundle's network, opened and checked, holding no more memory than its use needs."""

from __future__ import annotations

import contextlib
import ctypes
import sys
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import onnxruntime
from numpy.typing import NDArray

from classifier.errors import BundleError
from classifier.inference.bounds import MOST_EMBEDDING
from classifier.inference.manifest import MANIFEST_NAME, Manifest


class Session(Protocol):
    """The part of an onnxruntime session that is used."""

    def get_inputs(self) -> list[Any]:
        """Return the inputs, each with name, type and shape."""

    def get_outputs(self) -> list[Any]:
        """Return the outputs, each with name, type and shape."""

    def run(
        self, names: list[str], feeds: dict[str, Any], options: Any = None
    ) -> list[NDArray[np.float32]]:
        """Return the named outputs for one batch; `options` are onnxruntime's of one run."""


def open_session(network: Path, manifest: Manifest) -> tuple[Session, int]:
    """Open the ONNX file `network` and return it with D of its (n, D) embedding.

    Raises `BundleError` for a file that is no network, or another one than `manifest` describes.
    """
    session = _session(network)
    names = manifest.network
    _check_name(network, "input", names.input, session.get_inputs())
    for output in (names.form_logits, names.embedding):
        _check_name(network, "output", output, session.get_outputs())
    # Shapes that are declared may not be true. Of the two the single view comes last: it is what
    # photos are looked at by, and the first run of a shape is the one that its memory is planned
    # in.
    for number in (2, 1):
        embedding_size = _checked_embedding_size(network, manifest, session, number)
    _give_back_freed()
    return session, embedding_size


def _session(network: Path) -> Session:
    options = onnxruntime.SessionOptions()
    # Two requests on one thread each pass more photos than one request on two threads.
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    try:
        session: Session = onnxruntime.InferenceSession(
            str(network), options, providers=["CPUExecutionProvider"]
        )
    except Exception as error:  # onnxruntime raises kinds of its own, with no common base
        raise BundleError(
            f"{network}: can't be loaded as an ONNX network ({_first_line(error)}); export the "
            "bundle again",
            path=str(network),
        ) from error
    return session


def _checked_embedding_size(
    network: Path, manifest: Manifest, session: Session, number: int
) -> int:
    """Run a blank batch of `number` views and return D, or raise `BundleError`."""
    names, size, forms = manifest.network, manifest.preprocessing.size, len(manifest.forms)
    blank = np.zeros((number, 3, size, size), dtype=np.float32)
    once = onnxruntime.RunOptions()
    # What an unplanned run takes is twice what later ones need, and would be kept for them.
    once.add_run_config_entry("memory.enable_memory_arena_shrinkage", "cpu:0")
    try:
        logits, embedding = session.run(
            [names.form_logits, names.embedding], {names.input: blank}, once
        )
    except Exception as error:  # as in _session
        raise BundleError(
            f"{network}: doesn't run on a float32 batch of shape ({number}, 3, {size}, {size}) "
            f"({_first_line(error)}); export the bundle again with this size and a free batch axis",
            path=str(network),
        ) from error
    if logits.shape != (number, forms):
        raise BundleError(
            f"{network}: output {names.form_logits} has shape {logits.shape}; allowed: "
            f"({number}, {forms}) for the {forms} forms of {MANIFEST_NAME} and a batch of "
            f"{number}; export the bundle again",
            path=str(network),
        )
    if embedding.ndim != 2 or embedding.shape[0] != number or embedding.shape[1] > MOST_EMBEDDING:
        raise BundleError(
            f"{network}: output {names.embedding} has shape {embedding.shape}; allowed: "
            f"({number}, D) for a batch of {number}, D up to {MOST_EMBEDDING}; export the bundle "
            "again",
            path=str(network),
        )
    return int(embedding.shape[1])


def _give_back_freed() -> None:
    """Have the C library return to the system what it keeps of the memory used while loading.

    The GNU library keeps 50 MB, several times the network's weights, which onnxruntime converted
    and arranged again. Others have no such call, or need none.
    """
    if sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)


def _check_name(network: Path, kind: str, name: str, nodes: list[Any]) -> None:
    known = [node.name for node in nodes]
    if name not in known:
        raise BundleError(
            f"{network}: has no {kind} {name!r}, which {MANIFEST_NAME} names; allowed: "
            f"{', '.join(known)}; correct {MANIFEST_NAME}, or export the bundle again",
            path=str(network),
        )


def _first_line(error: Exception) -> str:
    return str(error).strip().partition("\n")[0]

"""Suggestions as a table that people read in a terminal."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Sequence
from pathlib import Path

from classifier.errors import TallytareError
from classifier.inference.bundle import Bundle
from classifier.rules.category_parts import Caution
from classifier.rules.programme import Programme
from classifier.rules.suggestion_parts import Suggestion
from service.cli.photo_paths import shown

_FILE_WIDTH, _WHAT_WIDTH = (8, 28), 26
_NARROWEST_ANSWER = 30


class Table:
    """One row a photograph: file, what it probably is, how sure, where it goes or what to do.

    A hazard's caution stands in its row, in full; the cautions of everyday items come back for
    many rows, so they are numbered and written out once, at the foot.
    """

    def __init__(self, files: Sequence[Path], programme: Programme, bundle: Bundle) -> None:
        low, high = _FILE_WIDTH
        longest = max((len(path.name) for path in files), default=low)
        self._file = min(max(longest, low), high)
        self._width = shutil.get_terminal_size((100, 24)).columns
        self._answer = max(self._width - self._file - _WHAT_WIDTH - 11, _NARROWEST_ANSWER)
        self._files = len(files)
        self._programme = programme
        self._bundle = bundle
        self._cautions: dict[str, Caution] = {}

    def head(self) -> str:
        """Return the line above the first row."""
        return self._lines("FILE", "PROBABLY", "", ["WHERE IT GOES"])

    def row(self, path: Path, answer: Suggestion | TallytareError) -> str:
        """Return the lines of one photograph."""
        name = _cut(shown(path.name), self._file)
        if isinstance(answer, TallytareError):
            return self._lines(name, "(not read)", "", [answer.message])
        if answer.decision == "not_an_item" or not answer.alternatives:
            return self._lines(name, "(no item)", "", self._advice(answer))
        top = answer.alternatives[0]
        return self._lines(name, _cut(top.name, _WHAT_WIDTH), f"{top.p:.0%}", self._advice(answer))

    def foot(self, failed: int) -> str:
        """Return the cautions, what must stand beside routes, and whose suggestions these are."""
        bundle = self._bundle
        lines = [
            f"[{number}] {caution.text}"
            for number, caution in enumerate(self._cautions.values(), start=1)
        ]
        lines += [
            self._programme.statement,
            f"Suggestions of model {bundle.name} {bundle.version}; check them by hand.",
        ]
        if failed:
            lines.append(f"{failed} of {self._files} files could not be read.")
        wrapped = [
            textwrap.fill(line, max(self._width, 40), subsequent_indent="    ") for line in lines
        ]
        return "\n".join(["", *wrapped])

    def _advice(self, answer: Suggestion) -> list[str]:
        lines = _HEADLINES.get(answer.decision, [])
        if answer.decision == "stop":
            lines = [*lines, *(caution.text for caution in answer.cautions)]
        if answer.route is not None:
            condition = f" ({answer.route.condition})" if answer.route.condition else ""
            lines = [*lines, f"{answer.route.name}{condition}"]
        if answer.question is not None:
            question = answer.question
            choices = ", ".join(f"{answer_id} = {label}" for answer_id, label in question.answers)
            lines = [*lines, f"{question.text} --fact {question.fact}=... ({choices})"]
        lines = [*lines, *(f"Check: {check}" for check in answer.check)]
        if answer.decision not in ("stop", "not_an_item") and answer.cautions:
            lines = [*lines, f"Caution {self._numbers(answer.cautions)}"]
        return lines

    def _numbers(self, cautions: Sequence[Caution]) -> str:
        for caution in cautions:
            self._cautions.setdefault(caution.id, caution)
        order = [*self._cautions]
        return " ".join(f"[{order.index(caution.id) + 1}]" for caution in cautions)

    def _lines(self, name: str, what: str, sure: str, answer: Sequence[str]) -> str:
        wrapped = [line for text in answer for line in textwrap.wrap(text, self._answer)] or [""]
        first = f"{name:<{self._file}}  {what:<{_WHAT_WIDTH}}  {sure:>4}  {wrapped[0]}"
        indent = " " * (self._file + _WHAT_WIDTH + 10)
        return "\n".join([first.rstrip(), *(indent + line for line in wrapped[1:])])


_HEADLINES = {
    "stop": ["STOP. Set it aside; don't sort it by hand."],
    "not_an_item": ["Not an item to sort."],
    "unsure": ["Not sure."],
}


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 3] + "..."

"""Reads a page as assistive technology does: headings, labels, names, ids."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

_VOID = {"meta", "link", "input", "img", "br", "hr", "path", "rect"}
_UNLABELLED = {"hidden", "submit", "button"}


@dataclass
class Element:
    """A control, with the text inside it and whether a label surrounds it."""

    tag: str
    attributes: dict[str, str]
    in_label: bool
    text: str = ""


@dataclass
class Markup(HTMLParser):
    """What of a page matters to the checks."""

    headings: list[int] = field(default_factory=list)
    controls: list[Element] = field(default_factory=list)
    buttons: list[Element] = field(default_factory=list)
    label_for: set[str] = field(default_factory=set)
    ids: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    landmarks: set[str] = field(default_factory=set)
    _open: list[str] = field(default_factory=list)
    _buttons_open: list[Element] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what the element is."""
        found = {name: value or "" for name, value in attrs}
        self._check(tag, found)
        if "id" in found:
            self.ids.append(found["id"])
        if tag in ("main", "header", "footer", "nav"):
            self.landmarks.add(tag)
        if tag in ("h1", "h2", "h3", "h4"):
            self.headings.append(int(tag[1]))
        if tag == "label" and "for" in found:
            self.label_for.add(found["for"])
        if tag in ("input", "select", "textarea") and found.get("type") not in _UNLABELLED:
            self.controls.append(Element(tag, found, "label" in self._open))
        if tag in ("button", "a"):
            element = Element(tag, found, in_label=False)
            self.buttons.append(element)
            self._buttons_open.append(element)
        if tag not in _VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """Leave the element."""
        while self._open and self._open.pop() != tag:
            pass
        if tag in ("button", "a") and self._buttons_open:
            self._buttons_open.pop()

    def handle_data(self, data: str) -> None:
        """Give text to the button around it."""
        for element in self._buttons_open:
            element.text += data

    def _check(self, tag: str, attributes: dict[str, str]) -> None:
        if "style" in attributes or tag == "style":
            self.faults.append(f"style in <{tag}>")
        if tag == "script" and "src" not in attributes:
            if attributes.get("type") != "application/json":
                self.faults.append("script in the page")
        self.faults += [f"{name} on <{tag}>" for name in attributes if name.startswith("on")]
        for name in ("src", "href", "action"):
            if attributes.get(name, "/").startswith(("http:", "https:", "//")):
                self.faults.append(f"{tag} leads outside: {attributes[name]}")
        if tag == "img" and "alt" not in attributes:
            self.faults.append("img without alt")

    def unlabelled(self) -> list[dict[str, str]]:
        """Return the controls that have no label."""
        return [
            each.attributes
            for each in self.controls
            if not (
                each.in_label
                or each.attributes.get("id") in self.label_for
                or "aria-label" in each.attributes
            )
        ]

    def nameless(self) -> list[dict[str, str]]:
        """Return buttons and links that have no name."""
        return [
            each.attributes
            for each in self.buttons
            if not (each.text.strip() or each.attributes.get("aria-label"))
        ]


def read_markup(html: str) -> Markup:
    """Return what a page holds."""
    markup = Markup()
    markup.feed(html)
    markup.close()
    return markup

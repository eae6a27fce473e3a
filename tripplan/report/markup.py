"""A small builder of HTML: text is escaped unless it was built here."""

from __future__ import annotations

from collections.abc import Iterable

from tripplan.report.safe import safe

__all__ = ["Markup", "el", "join", "raw"]

_VOID = frozenset({"br", "hr", "img", "input", "link", "meta"})


class Markup(str):
    """HTML that was built by `el`, `join` or `raw`; every other string is foreign."""

    __slots__ = ()


def _inner(content: object) -> str:
    if content is None:
        return ""
    if isinstance(content, Markup):
        return str(content)
    if isinstance(content, (str, int, float)):
        return safe(content)
    if isinstance(content, Iterable):
        return "".join(_inner(part) for part in content)
    raise TypeError(f"no HTML is made of {type(content).__name__}")


def el(tag: str, *content: object, **attributes: object) -> Markup:
    """Return one element: content is `Markup`, text, numbers, None or iterables of these.

    Attribute names lose a trailing underscore and have ``_`` turned to ``-`` (``class_``, ``aria_label``); ``True`` gives a
    bare attribute, ``None`` and ``False`` none at all.
    """
    parts = [f"<{tag}"]
    for name, value in attributes.items():
        if value is None or value is False:
            continue
        word = name.rstrip("_").replace("_", "-")
        parts.append(f" {word}" if value is True else f' {word}="{safe(value)}"')
    parts.append(">")
    if tag not in _VOID:
        parts.extend(_inner(part) for part in content)
        parts.append(f"</{tag}>")
    return Markup("".join(parts))


def join(parts: Iterable[object], between: str = "") -> Markup:
    """Return parts one after another, with escaped text between them."""
    return Markup(safe(between).join(_inner(part) for part in parts if part is not None and part != ""))


def raw(text: str) -> Markup:
    """Return own, trusted HTML as it is (style sheets, scripts, comments)."""
    return Markup(text)

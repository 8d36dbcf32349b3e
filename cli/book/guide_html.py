"""The guide's plain Markdown as HTML: headings, paragraphs, lists, tables, indented blocks, code, emphasis."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from markupsafe import Markup, escape

from soakwitness.cli.guide.pages import ORDER
from soakwitness.cli.guide.searching import anchor_of

Link = Callable[[str], str | None]

_ITEM = re.compile(r"(?:[-*]|\d+\.) +")
_INLINE = re.compile(r"`([^`]+)`|\*\*([^*]+)\*\*|\*([^*\s][^*]*)\*")


def as_html(text: str, *, link: Link) -> Markup:
    """HTML of one page; ``link`` gives the path of another page that is named in it."""
    return Markup("\n").join(_blocks(text.split("\n"), link))


def _blocks(lines: list[str], link: Link) -> Iterator[Markup]:
    k = 0
    while k < len(lines):
        line, begun = lines[k], k
        if not line.strip():
            k += 1
        elif line.startswith("#"):
            level = len(line) - len(line.lstrip("#"))
            words = line.lstrip("# ")
            yield Markup(f'<h{level} id="{{}}">{{}}</h{level}>').format(anchor_of(words), _inline(words, link))
            k += 1
        elif line.startswith("    "):
            k = _end(lines, k, lambda one: one.startswith("    ") or not one.strip())
            code = "\n".join(one[4:] for one in lines[begun:k]).rstrip()
            yield Markup("<pre><code>{}</code></pre>").format(code)
        elif line.startswith("|"):
            k = _end(lines, k, lambda one: one.startswith("|"))
            yield _table(lines[begun:k], link)
        elif _ITEM.match(line):
            k = _end(lines, k, lambda one: not one.strip() or one.startswith(" ") or bool(_ITEM.match(one)))
            yield _list(lines[begun:k], link)
        else:
            k = _end(lines, k, lambda one: bool(one.strip()) and not one.startswith(("#", "    ", "|")))
            yield Markup("<p>{}</p>").format(_inline(" ".join(one.strip() for one in lines[begun:k]), link))


def _end(lines: list[str], k: int, goes_on: Callable[[str], bool]) -> int:
    k += 1
    while k < len(lines) and goes_on(lines[k]):
        k += 1
    return k


def _list(lines: list[str], link: Link) -> Markup:
    """Items, each with what is indented under it."""
    items: list[list[str]] = []
    wide = 0
    for line in lines:
        if (head := _ITEM.match(line)) is not None:
            wide = head.end()
            items.append([line[wide:]])
        else:
            items[-1].append(line[wide:] if not line[:wide].strip() else line.lstrip())
    kind = "ol" if lines[0][0].isdigit() else "ul"
    inner = Markup("").join(Markup("<li>{}</li>").format(Markup("").join(_blocks(item, link))) for item in items)
    return Markup(f"<{kind}>{{}}</{kind}>").format(inner)


def _table(lines: list[str], link: Link) -> Markup:
    rows = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in lines]
    head, *body = [row for row in rows if not all(set(cell) <= set("-: ") for cell in row)]

    def row(cells: list[str], kind: str) -> Markup:
        inner = (Markup(f"<{kind}>{{}}</{kind}>").format(_inline(cell, link)) for cell in cells)
        return Markup("<tr>{}</tr>").format(Markup("").join(inner))

    inside = Markup("").join(row(cells, "td") for cells in body)
    return Markup("<div class=wide><table>{}{}</table></div>").format(row(head, "th"), inside)


def _inline(text: str, link: Link) -> Markup:
    parts: list[Markup] = []
    at = 0
    for found in _INLINE.finditer(text):
        parts.append(escape(text[at : found.start()]))
        at = found.end()
        code, strong, soft = found.groups()
        if code is not None:
            parts.append(Markup("<code>{}</code>").format(code))
        elif strong is not None:
            parts.append(Markup("<strong>{}</strong>").format(_inline(strong, link)))
        else:
            path = link(soft) if soft in ORDER else None
            inner = Markup("<em>{}</em>").format(soft)
            parts.append(inner if path is None else Markup('<a href="{}">{}</a>').format(path, inner))
    parts.append(escape(text[at:]))
    return Markup("").join(parts)

"""What an HTML page holds, read with the standard library's parser."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = frozenset(("area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"))


@dataclass(kw_only=True)
class Element:
    """A tag, its attributes, its own text and the tags inside it."""

    tag: str
    attributes: dict[str, str | None] = field(default_factory=dict)
    children: list[Element] = field(default_factory=list)
    pieces: list[str] = field(default_factory=list)

    def all(self, *tags: str) -> list[Element]:
        """Every element inside with one of these tags, or every element, in document order."""
        found = []
        for child in self.children:
            found += [child] if not tags or child.tag in tags else []
            found += child.all(*tags)
        return found

    @property
    def text(self) -> str:
        """All text inside, blanks folded."""
        return " ".join("".join(self._text()).split())

    def _text(self):
        for piece in self.pieces:
            yield piece if isinstance(piece, str) else piece.text


class _Builder(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open = [Element(tag="")]

    def handle_starttag(self, tag, attrs):
        element = Element(tag=tag, attributes=dict(attrs))
        self.open[-1].children.append(element)
        self.open[-1].pieces.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data):
        self.open[-1].pieces.append(data)


def parsed(page: str) -> Element:
    """The page as a tree; AssertionError if a tag is left open or closed out of turn."""
    builder = _Builder()
    builder.feed(page)
    builder.close()
    assert [element.tag for element in builder.open] == [""], "a tag was left open"
    return builder.open[0]


def table_of(element: Element) -> list[list[str]]:
    """The texts of a table, row by row."""
    return [[cell.text for cell in row.all("th", "td")] for row in element.all("tr")]


OUTSIDE = ("http:", "https:", "//", "ftp:", "file:", "javascript:")


def problems(page: str) -> list[str]:
    """Whatever a page that opens offline, runs nothing and can be read aloud must not have."""
    root = parsed(page)
    found = [f"<{each.tag}>" for each in root.all("script", "iframe", "object", "embed", "link", "form", "base")]
    for element in root.all():
        for name, value in element.attributes.items():
            if name.startswith("on") or name == "style":
                found.append(f"{element.tag} has {name}")
            if (value or "").strip().lower().startswith(OUTSIDE):
                found.append(f"{element.tag} {name} points outside: {value}")
    found += ["img without alt" for each in root.all("img") if not (each.attributes.get("alt") or "").strip()]
    found += ["img fetched" for each in root.all("img") if not each.attributes["src"].startswith("data:image/")]
    found += [f"th without scope: {each.text}" for each in root.all("th") if not each.attributes.get("scope")]
    found += [f"{len(root.all(tag))} {tag}" for tag in ("h1", "main", "title", "html") if len(root.all(tag)) != 1]
    ids = [each.attributes["id"] for each in root.all() if "id" in each.attributes]
    found += [f"id {each} twice" for each in set(ids) if ids.count(each) > 1]
    targets = [each.attributes["href"].lstrip("#") for each in root.all("a")]
    found += [f"link to {each} leads nowhere" for each in targets if each not in ids]
    css = " ".join(each.text for each in root.all("style"))
    found += [f"style sheet has {word}" for word in ("url(", "@import", "http") if word in css]
    return found

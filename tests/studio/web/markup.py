"""Reading a rendered page the strict way: every tag closed where it was opened, and what a page holds."""

from __future__ import annotations

from html.parser import HTMLParser

# The void elements of the HTML Living Standard, section "Void elements" (from memory).
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


class Page(HTMLParser):
    """A parsed page; a tag closed out of order is an error."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)
        self.close()
        if self.open:
            raise AssertionError(f"never closed: {self.open}")

    def handle_starttag(self, tag, attrs):
        if len(dict(attrs)) != len(attrs):
            raise AssertionError(f"an attribute twice in <{tag}>: {attrs}")
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.open or self.open[-1] != tag:
            raise AssertionError(f"</{tag}> closes nothing; open are {self.open}")
        self.open.pop()

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def all(self, *tags: str) -> list[dict[str, str | None]]:
        return [attributes for tag, attributes in self.elements if tag in tags]

    def values(self, attribute: str) -> list[str]:
        return [attributes[attribute] or "" for _, attributes in self.elements if attribute in attributes]

    def links(self) -> list[str]:
        return [attributes.get("href") or "" for attributes in self.all("a")]

    def forms(self) -> list[str]:
        """Where the forms of this page lead."""
        return [attributes.get("action") or "" for attributes in self.all("form")]

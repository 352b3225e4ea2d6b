"""XML of a robot description as a tree of elements that know where they stand; no entities, no text, no comments."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, NoReturn
from xml.sax import SAXParseException
from xml.sax.handler import ContentHandler

from defusedxml import DefusedXmlException
from defusedxml.expatreader import create_parser

from gripmargin.base.errors import RobotError

MAX_BYTES: Final = 20_000_000  # a robot description without its meshes is far smaller
DEEPEST: Final = 100  # elements within each other; a description has some ten


@dataclass(slots=True)
class Element:
    """An element with its attributes.

    Attributes:
        name: As it stands in the file, with its prefix.
        attributes: Their texts; the error instead, where an expression in it cannot be worked out.
        where: File and line.
        children: The elements within it.
    """

    name: str
    attributes: dict[str, str | RobotError]
    where: str
    children: list[Element] = field(default_factory=list)

    def texts(self) -> Mapping[str, str]:
        """Return the attributes.

        Raises:
            RobotError: One of them could not be worked out.
        """
        for text in self.attributes.values():
            if isinstance(text, RobotError):
                raise text
        return self.attributes  # type: ignore[return-value]

    def named(self, name: str) -> Iterator[Element]:
        """Return the elements of a name right within this one."""
        return (child for child in self.children if child.name == name)


class _Builder(ContentHandler):
    def __init__(self, source: str, line: Callable[[], int]) -> None:
        super().__init__()
        self._source = source
        self._line = line
        self._open: list[Element] = []
        self.root: Element | None = None

    def startElement(self, name: str, attrs: Any) -> None:  # noqa: N802 - the name that SAX gives it
        element = Element(name, dict(attrs), f"{self._source}, line {self._line()}")
        if len(self._open) >= DEEPEST:  # nothing of a robot lies so deep but what it does not need
            if name.startswith("xacro:"):
                raise RobotError(element.where, f"more than {DEEPEST} elements within each other", "a flatter file")
        elif self._open:
            self._open[-1].children.append(element)
        else:
            self.root = element
        self._open.append(element)

    def endElement(self, name: str) -> None:  # noqa: N802 - the name that SAX gives it
        self._open.pop()


def read_content(path: Path, source: str, expected: str) -> bytes:
    """Return the bytes of a file of XML.

    Args:
        path: The file, at most 20 MB.
        source: What to call it.
        expected: What it should be, for errors.

    Raises:
        RobotError: It cannot be read, or is no text.
    """
    try:
        if path.is_dir():
            raise RobotError(source, "a directory", expected)
        if not path.exists():
            raise RobotError(source, "no such file", expected)
        if not path.is_file():
            raise RobotError(source, "something that is not a regular file", expected)
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise RobotError(source, f"a file that cannot be read ({reason})", expected) from error
    if len(data) > MAX_BYTES:
        refuse_size(source)
    if not data.strip():
        raise RobotError(source, "an empty file", expected)
    if b"\0" in data[:4096] and data[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        raise RobotError(source, "a binary file", f"{expected}, which is XML text")
    return data


def refuse_size(source: str) -> NoReturn:
    """Refuse a text that is too large for a robot description."""
    most = f"{MAX_BYTES // 1_000_000} MB"
    raise RobotError(source, f"more than {most}", f"a URDF robot description of at most {most}")


def parse(content: str | bytes, source: str) -> Element:
    """Return the root element.

    Args:
        content: The XML.
        source: What to call it.

    Raises:
        RobotError: Not well-formed, or with a document type.
    """
    parser = create_parser(forbid_dtd=True, forbid_entities=True, forbid_external=True)
    builder = _Builder(source, parser.getLineNumber)
    parser.setContentHandler(builder)
    try:
        parser.feed(content)
        parser.close()
    except DefusedXmlException as error:
        raise RobotError(
            f"{source}, line {parser.getLineNumber()}",
            "a document type declaration or an entity",
            "plain URDF, which needs neither",
            "remove the <!DOCTYPE ...> block",
        ) from error
    except SAXParseException as error:
        raise RobotError(
            f"{source}, line {error.getLineNumber()}",
            f"text that is not well-formed XML ({error.getMessage()})",
            "a URDF robot description",
        ) from error
    except (ValueError, LookupError) as error:  # an encoding that is not known or does not fit
        raise RobotError(source, f"text that cannot be decoded ({error})", "XML in UTF-8") from error
    if builder.root is None:
        raise RobotError(source, "no element", "a URDF robot description")
    return builder.root

"""XML as our writers need it: sound whatever a name holds, numbers as the schemas of GPX and others want them."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from layers.routes import plain_name

if TYPE_CHECKING:
    from layers.routes import Position

__all__ = ["add_lines", "add_text", "decimal", "lat_text", "lon_text", "xml_document"]

_PLACES = 7  # decimals of a degree: a centimetre


def decimal(number: float, places: int) -> str:
    """Write a number as XML's decimal, which knows no exponent.

    Parameters
    ----------
    number
        Finite.
    places
        Decimals at the most.

    Returns
    -------
    str
        Without needless zeros, and never ``-0``.

    Examples
    --------
    >>> decimal(1e-7, 7), decimal(-0.00000001, 7), decimal(25.0, 2)
    ('0.0000001', '0', '25')
    """
    text = f"{number:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def lat_text(position: Position) -> str:
    """[deg] Write a latitude.

    Parameters
    ----------
    position
        [deg] Longitude and latitude.

    Returns
    -------
    str
        Decimal degrees to a centimetre.
    """
    return decimal(position[1], _PLACES)


def lon_text(position: Position) -> str:
    """[deg] Write a longitude.

    Parameters
    ----------
    position
        [deg] Longitude and latitude.

    Returns
    -------
    str
        Decimal degrees to a centimetre, from -180 up to but not 180, as GPX 1.1 and the route exchange format ask.

    Examples
    --------
    >>> lon_text((180.0, 0.0)), lon_text((179.99999999, 0.0)), lon_text((-38.05, 44.0))
    ('-180', '-180', '-38.05')
    """
    text = decimal(position[0], _PLACES)
    return "-180" if text == "180" else text


def add_text(parent: ET.Element, tag: str, text: str) -> None:
    """Add an element that holds one line, if there is any text.

    Parameters
    ----------
    parent
        Where it is added, at the end.
    tag
        Its name.
    text
        What it holds; what no file or display can hold is left out.
    """
    plain = plain_name(text)
    if plain:
        ET.SubElement(parent, tag).text = plain


def add_lines(parent: ET.Element, tag: str, text: str) -> None:
    """Add an element that holds lines, if there is any text.

    Parameters
    ----------
    parent
        Where it is added, at the end.
    tag
        Its name.
    text
        What it holds, each line treated as `add_text` does.
    """
    plain = [plain_name(line) for line in text.splitlines()]
    if any(plain):
        ET.SubElement(parent, tag).text = "\n".join(line for line in plain if line)


def xml_document(root: ET.Element) -> str:
    """Write a document.

    Parameters
    ----------
    root
        Its root.

    Returns
    -------
    str
        Indented, with its declaration and a last line feed; to be kept in UTF-8.
    """
    ET.indent(root, " ")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(root, encoding="unicode")}\n'

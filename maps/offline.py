"""The page: folium without a single link, everything it needs written into it, saved in one piece.

folium's own page fetches Leaflet, jQuery, Bootstrap and icons from the network. Here Leaflet comes out of the installed
XStatic-Leaflet package and goes into the page, and nothing else of that list is needed: our layers use only folium's
GeoJson and panes, which never call jQuery. The page also forbids itself, by a content security policy, to load
anything or to run any script but the two that it was written with, whatever a name in a file may contain.
"""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import dataclass
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import folium
from branca.element import Figure
from folium.template import Template

from layers.files import replaced_file
from maps.palette import write_variables

if TYPE_CHECKING:
    import os

    from branca.element import Element

    from maps.words import Markup

__all__ = ["Canvas", "OfflineMap", "Page", "named"]

_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)


@dataclass(frozen=True)
class OfflineMap:
    """A map in one page that opens with no network.

    Parameters
    ----------
    page
        The page's text.
    """

    page: str

    def html(self) -> str:
        """Return the page.

        Returns
        -------
        str
            HTML, ASCII only.
        """
        return self.page

    def save(self, path: str | os.PathLike[str]) -> Path:
        """Write the page to a file, whole or not at all.

        Parameters
        ----------
        path
            The file; it is replaced where it exists, and its folder is made where it doesn't.

        Returns
        -------
        Path
            Where it was written.

        Raises
        ------
        InputError
            When the file can't be written: carries the path and the system's reason.
        """
        target = Path(path)
        with replaced_file(target) as draft:
            draft.write_text(self.page, encoding="ascii", newline="\n")
        return target

    def _repr_html_(self) -> str:
        """Show the map in a notebook."""
        return f'<iframe srcdoc="{escape(self.page)}" style="width:100%;height:640px;border:0" title="Map"></iframe>'


class Page(Figure):  # type: ignore[misc, unused-ignore]
    """folium's page with a language, a title, our own frame round the map, and no other head.

    Parameters
    ----------
    title
        The page's title.
    before, beside
        Markup above the map and beside it.
    """

    _template = Template(
        "<!DOCTYPE html>\n"
        '<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="@policy@">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="referrer" content="no-referrer">\n'
        '<link rel="icon" href="data:,">\n'
        "<title>{{ this.title }}</title>\n"
        "<style>{{ this.sheet }}</style>\n"
        "<script>{{ this.program }}</script>\n"
        "</head>\n<body>\n{{ this.before }}\n{{ this.html.render(**kwargs) }}\n{{ this.beside }}\n"
        "<script>{{ this.script.render(**kwargs) }}</script>\n"
        "</body>\n</html>\n"
    )

    def __init__(self, title: Markup, before: Markup, beside: Markup) -> None:
        super().__init__()
        self.title = title
        self.before = before
        self.beside = beside
        self.sheet = _read_sheet()
        self.program = _read_program()

    def write(self) -> str:
        """Return the page, with the hashes of its two scripts in its policy.

        Returns
        -------
        str
            The page. Scripts that are not these two won't run.
        """
        page = str(self.render()).replace("\r", "")
        hashes = " ".join(f"'sha256-{_digest(script)}'" for script in _SCRIPT.findall(page))
        policy = f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src {hashes}"
        return page.replace("@policy@", policy, 1)


class Canvas(folium.Map):  # type: ignore[misc, unused-ignore]
    """folium's map without tiles, links and head.

    Parameters
    ----------
    settings
        What the page's script needs to open the map: view and extent in Leaflet's order, and the symbols.
    """

    default_js: ClassVar[list[tuple[str, str]]] = []  # type: ignore[misc, unused-ignore]
    default_css: ClassVar[list[tuple[str, str]]] = []  # type: ignore[misc, unused-ignore]

    _template = Template(
        """
        {% macro html(this, kwargs) %}<main id="{{ this.get_name() }}" class="map" aria-label="Map"><noscript><p>
        This browser runs no script, so the map is not drawn. Stops, key and cautions are listed beside it.
        </p></noscript></main>
        {% endmacro %}
        {% macro script(this, kwargs) %}
        var {{ this.get_name() }} = drawing.open({{ this.get_name()|tojson }}, {{ this.options|tojson }});
        {% endmacro %}
        """
    )

    def __init__(self, settings: dict[str, Any]) -> None:
        super().__init__(location=(0.0, 0.0), tiles=None)
        self.options = settings


def named(element: Element, name: str) -> Element:
    """Give a folium element a name that is the same on every run.

    Parameters
    ----------
    element
        The element; folium gives it a random name, and the same map would be another file each time.
    name
        Its new name, unique on the page.

    Returns
    -------
    Element
        The same element.
    """
    element._id = name  # noqa: SLF001  the one place where folium keeps it
    return element


def _read_program() -> str:
    leaflet = _leaflet("leaflet.js").decode()
    # A source map would be fetched by a browser's inspector, and the credit's link would be an external address.
    leaflet = re.sub(r"//# sourceMappingURL=\S*", "", leaflet).replace("https://leafletjs.com", "leafletjs.com")
    return f"{leaflet}\n{_asset('page.js')}".replace("</script", r"<\/script").replace("\r", "")


def _read_sheet() -> str:
    sheet = re.sub(r"/\*.*?\*/", "", _leaflet("leaflet.css").decode(), flags=re.DOTALL)
    sheet = re.sub(r"url\((images/[\w.-]+\.png)\)", lambda found: f"url({_data_uri(found.group(1))})", sheet)
    # Internet Explorer's vector language asks for a file of its own.
    sheet = re.sub(r"behavior:\s*url\([^)]*\);?", "", sheet)
    return f"{sheet}\n{write_variables()}\n{_asset('page.css')}"


def _leaflet(name: str) -> bytes:
    return files("xstatic.pkg.leaflet").joinpath("data", *name.split("/")).read_bytes()


def _data_uri(name: str) -> str:
    return f"data:image/png;base64,{base64.b64encode(_leaflet(name)).decode()}"


def _asset(name: str) -> str:
    return files("maps").joinpath("assets", name).read_text(encoding="utf-8")


def _digest(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()

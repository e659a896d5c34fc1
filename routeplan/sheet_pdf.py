"""A passage sheet as a file: HTML as it is, or PDF by the extra `pdf`; whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from layers.errors import InputError
from layers.files import replaced_file

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["check_sheet_file", "write_pdf", "write_sheet"]

_INSTEAD = "or write FILE.html and print it from any browser"


def check_sheet_file(path: Path, where: str) -> None:
    """Refuse a sheet that can't be written for its ending, or for what isn't installed, before any work.

    Parameters
    ----------
    path
        The file.
    where
        The option that it came from.

    Raises
    ------
    InputError
        It ends with none of ``.html``, ``.htm`` and ``.pdf``, or PDF can't be made here.
    """
    ending = path.suffix.lower()
    if ending == ".pdf":
        _load_printer(path)
    elif ending not in {".html", ".htm"}:
        raise InputError(where, "a sheet is written as .html or .pdf", value=str(path), remedy="name it FILE.html")


def write_sheet(page: str, path: Path) -> None:
    """Write a sheet, in the form that the file's name asks for.

    Parameters
    ----------
    page
        The HTML document.
    path
        A file that ends with ``.html``, ``.htm`` or ``.pdf``.

    Raises
    ------
    InputError
        It has another ending, can't be written, or PDF can't be made here.
    """
    check_sheet_file(path, str(path))
    if path.suffix.lower() == ".pdf":
        write_pdf(page, path)
        return
    with replaced_file(path) as draft:
        draft.write_text(page, encoding="utf-8", newline="\n")


def write_pdf(page: str, path: Path) -> None:
    """Print a page to a PDF file; nothing is fetched from anywhere.

    Parameters
    ----------
    page
        The HTML document, complete in itself.
    path
        The file; an old one is replaced.

    Raises
    ------
    InputError
        The extra ``pdf`` or the text library that it needs isn't installed, or the file can't be written.
    """
    html, fetcher = _load_printer(path)
    printed = html(string=page, url_fetcher=fetcher(allowed_protocols=())).write_pdf()
    with replaced_file(path) as draft:
        draft.write_bytes(printed)


def _load_printer(path: Path) -> tuple[Any, Any]:
    """Load what prints, with its fetcher of other files."""
    try:
        from weasyprint import HTML  # noqa: PLC0415  takes half a second, and is an extra
        from weasyprint.urls import URLFetcher  # noqa: PLC0415  as above
    except ImportError as error:
        remedy = f"run pip install 'routeplan[pdf]', {_INSTEAD}"
        raise InputError(str(path), "PDF needs the extra pdf, which isn't installed", remedy=remedy) from error
    except OSError as error:  # its text library is loaded from the system when it is imported
        remedy = f"install Pango (Debian: apt-get install libpangoft2-1.0-0), {_INSTEAD}"
        raise InputError(str(path), "PDF needs the text library Pango, which isn't installed", remedy=remedy) from error
    return HTML, URLFetcher

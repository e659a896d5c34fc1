"""Files read whole, with limits, and written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
from typing import TYPE_CHECKING

from layers.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["check_file", "describe", "file_status", "read_text", "replaced_file"]

_MEGABYTE = 1_000_000


def describe(error: OSError) -> str:
    """Say what the system said, in lower case and without the path that the message has anyway.

    Parameters
    ----------
    error
        What a file operation raised.

    Returns
    -------
    str
        Such as ``no such file or directory``.

    Examples
    --------
    >>> describe(PermissionError(13, "Permission denied", "x"))
    'permission denied'
    """
    said = error.strerror or str(error) or type(error).__name__
    return said[:1].lower() + said[1:]


def file_status(path: Path) -> os.stat_result:
    """Look up a path.

    Parameters
    ----------
    path
        A file or folder.

    Returns
    -------
    os.stat_result
        What the system knows of it.

    Raises
    ------
    InputError
        There is none, or the way to it can't be followed; carries the path.
    """
    try:
        return path.stat()
    except FileNotFoundError as error:
        raise InputError(str(path), "there is no such file or folder", remedy="check the path") from error
    except (OSError, ValueError) as error:  # a loop of links, a name too long, a NUL in the name
        reason = describe(error) if isinstance(error, OSError) else str(error)
        raise InputError(str(path), f"can't be opened: {reason}") from error


def check_file(path: Path, limit_bytes: int) -> None:
    """Make sure that a path is a file of a size that we are ready to read.

    Parameters
    ----------
    path
        The file.
    limit_bytes
        The largest size, itself allowed.

    Raises
    ------
    InputError
        It is missing, no regular file (reading a pipe could wait for ever), empty or too large.
    """
    status = file_status(path)
    if not stat.S_ISREG(status.st_mode):
        kind = "a folder" if stat.S_ISDIR(status.st_mode) else "a device or pipe"
        raise InputError(str(path), f"is {kind}, not a file")
    if status.st_size > limit_bytes:
        size, limit = status.st_size / _MEGABYTE, limit_bytes / _MEGABYTE
        raise InputError(
            str(path),
            f"is too large, {size:,.1f} MB; the limit is {limit:g} MB",
            remedy="cut it to the region's extent, or simplify it",
        )
    if status.st_size == 0:
        raise InputError(str(path), "is empty")


def read_text(path: Path, limit_bytes: int) -> str:
    """Read a file of text.

    Parameters
    ----------
    path
        The file, in UTF-8.
    limit_bytes
        The largest size, itself allowed.

    Returns
    -------
    str
        The text, without a byte order mark.

    Raises
    ------
    InputError
        It can't be read, is too large, empty, or not UTF-8; carries the path.
    """
    check_file(path, limit_bytes)
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(str(path), f"is not text in UTF-8 (byte {error.start + 1:,})") from error
    except OSError as error:
        raise InputError(str(path), f"can't be read: {describe(error)}") from error
    except MemoryError as error:
        raise InputError(str(path), "is too large for this computer's memory") from error


@contextlib.contextmanager
def replaced_file(path: Path) -> Iterator[Path]:
    """Write a file whole or not at all.

    Parameters
    ----------
    path
        The file to write; an old one stays as it is until the new one is complete.

    Yields
    ------
    Path
        A new, empty file in the same folder, to be filled; it takes the place of `path` where the block ends well
        and is removed where it doesn't.

    Raises
    ------
    InputError
        The folder can't be made or written, or `path` is a folder, a device or a pipe.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> target = Path(tempfile.mkdtemp()) / "note.txt"
    >>> with replaced_file(target) as draft:
    ...     _ = draft.write_text("fair")
    >>> target.read_text()
    'fair'
    """
    try:
        target = path.resolve()  # a link stays a link: what it points to is replaced
        if target.exists() and not target.is_file():  # a device node would be replaced like any file
            kind = "a folder" if target.is_dir() else "a device or pipe"
            raise InputError(str(path), f"is {kind}, not a file", remedy="name a file that may be replaced")
        target.parent.mkdir(parents=True, exist_ok=True)
        draft = target.parent / f".{target.stem[:50]}.{secrets.token_hex(8)}{target.suffix}"
        draft.touch(exist_ok=False)
    except (OSError, RuntimeError, ValueError) as error:
        raise _unwritable(path, error) from error
    try:
        yield draft
        _flush(draft)
        draft.replace(target)
    except OSError as error:
        raise _unwritable(path, error) from error
    finally:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)


def _flush(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _unwritable(path: Path, error: Exception) -> InputError:
    reason = describe(error) if isinstance(error, OSError) else str(error)
    return InputError(str(path), f"can't be written: {reason}", remedy="choose a folder that you may write to")

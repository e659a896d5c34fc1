"""A file that is no TOML file is one clear line."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from layers.errors import InputError
from routeplan.boats import read_boat
from routeplan.toml_files import TOML_LIMIT_BYTES, read_toml

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b" \n\t\n", "is empty"),
        (b"\xef\xbb\xbf", "is empty"),
        (b"# only a comment\n", "holds no keys"),
        (b"a = 1\nb = \xff\xfe\n", "not UTF-8 text, from line 2 on"),
        ("a = 'é'".encode("latin-1"), "not UTF-8"),
        (b"a = 1\x00", "binary"),
        (bytes(range(256)) * 8, "binary"),
        ("a = 1".encode("utf-16"), "binary"),
        (b"a = ", "not valid TOML"),
        (b"a = 1\na = 2", "not valid TOML"),
        (b"a = " + b"[" * 100_000, "not valid TOML: nested too deeply"),
        (b"a = " + b"9" * 10_000, "not valid TOML"),
        (b"a = 1 # " + b"x" * TOML_LIMIT_BYTES, "over the limit of 256 KiB"),
    ],
    ids=lambda value: repr(value)[:20],
)
def test_a_file_that_can_not_be_read_as_toml(content: bytes, says: str, tmp_path: Path):
    path = tmp_path / "boat.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_toml(path, "boat file")
    line = str(caught.value)
    assert line.startswith(f"{path}: ")
    assert says in line
    assert "\n" not in line


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path):
    path = tmp_path / "boat.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\r\nb = 2\r\n")
    assert read_toml(path, "boat file") == {"a": 1, "b": 2}


def test_a_folder_a_missing_file_and_an_impossible_path(tmp_path: Path):
    for path, says in (
        (tmp_path, "is a folder"),
        (tmp_path / "none.toml", "no such boat file"),
        ("a\0b", "can't be read"),
    ):
        with pytest.raises(InputError, match=says):
            read_boat(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_is_not_waited_for(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(InputError, match="not an ordinary file"):
        read_boat(tmp_path / "pipe.toml")

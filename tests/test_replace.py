"""Replacing a file: whole or not at all, never through what stands where the draft goes."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pipeline.files.replace import replace_file, replacing


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("before, and longer")
    replace_file(path, b"after", sync=True, mode=0o600, mtime_ns=10**18)
    assert path.read_bytes() == b"after"
    assert path.stat().st_mtime_ns == 10**18
    assert [each.name for each in tmp_path.iterdir()] == ["a.csv"]


def test_what_fails_leaves_the_file_as_it_was_and_no_draft(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("before")

    def half() -> None:
        with replacing(path) as out:
            out.write(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        half()
    assert path.read_text() == "before"
    assert [each.name for each in tmp_path.iterdir()] == ["a.csv"]


def test_the_file_stands_unchanged_until_the_draft_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("before")
    with replacing(path) as out:
        out.write(b"after")
        out.flush()
        assert path.read_text() == "before"
        drafts = [each.name for each in tmp_path.iterdir() if each != path]
    assert drafts == [f".a.csv.{os.getpid()}.new"]
    assert path.read_text() == "after"


def test_a_link_where_the_draft_goes_is_not_written_through(tmp_path: Path) -> None:
    other, draft = tmp_path / "other", tmp_path / "draft"
    other.write_text("mine")
    draft.symlink_to(other)
    replace_file(tmp_path / "a.csv", b"after", draft=draft)
    assert other.read_text() == "mine"
    assert (tmp_path / "a.csv").read_text() == "after"


def test_errors_of_the_operating_system_come_as_they_are(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        replace_file(tmp_path / "no folder" / "a.csv", b"")
    (tmp_path / "draft").mkdir()
    with pytest.raises(OSError, match="draft"):
        replace_file(tmp_path / "a.csv", b"", draft=tmp_path / "draft")

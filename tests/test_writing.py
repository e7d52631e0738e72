"""Files are written whole or not at all, where they were asked for and nowhere else."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from formulint.errors import UserError
from formulint.writing import write, write_below


def listing(folder: Path) -> list[str]:
    """Every file below a folder."""
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if not path.is_dir() or path.is_symlink())


@pytest.mark.parametrize("old", [None, b"old and much longer than the new one"])
def test_a_file_is_made_or_replaced(tmp_path: Path, old: bytes | None) -> None:
    if old is not None:
        (tmp_path / "a.txt").write_bytes(old)
    write(str(tmp_path / "a.txt"), b"new\r\n\xff")
    assert (tmp_path / "a.txt").read_bytes() == b"new\r\n\xff"
    assert listing(tmp_path) == ["a.txt"]


@pytest.mark.parametrize("mode", [0o600, 0o644, 0o755, 0o400])
def test_permissions_stay(tmp_path: Path, mode: int) -> None:
    (tmp_path / "a").touch(mode=0o600)
    (tmp_path / "a").chmod(mode)
    write(str(tmp_path / "a"), b"new")
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == mode


def test_a_new_file_has_the_usual_permissions(tmp_path: Path) -> None:
    (tmp_path / "usual").touch()
    write(str(tmp_path / "a"), b"")
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "usual").stat().st_mode


def test_who_holds_the_old_file_open_keeps_it(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    os.link(tmp_path / "a", tmp_path / "second name")
    write(str(tmp_path / "a"), b"new")
    assert (tmp_path / "second name").read_bytes() == b"old"


@pytest.mark.parametrize("target", ["real", "nowhere", "/etc/hostname", "."])
def test_links_are_not_written_through(tmp_path: Path, target: str) -> None:
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to(target)
    with pytest.raises(UserError, match=r"link\" is a link"):
        write(str(tmp_path / "link"), b"new")
    assert listing(tmp_path) == ["link", "real"]
    assert (tmp_path / "real").read_bytes() == b"old"


def test_what_is_no_file_is_left_alone(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    for name in ("pipe", "folder", "/dev/null"):
        with pytest.raises(UserError, match="is not a file"):
            write(str(tmp_path / name), b"new")
    assert stat.S_ISFIFO((tmp_path / "pipe").stat().st_mode)


@pytest.mark.parametrize("path", ["gone/a", "file/a", "x" * 300])
def test_what_cannot_be_written_is_said(tmp_path: Path, path: str) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(UserError, match="cannot be written"):
        write(str(tmp_path / path), b"new")
    assert listing(tmp_path) == ["file"]


@pytest.mark.parametrize("fault", [OSError(28, "No space left on device"), KeyboardInterrupt(), MemoryError()])
@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_nothing_half_written_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: BaseException, call: str
) -> None:
    (tmp_path / "a").write_bytes(b"old")

    def fail(*_: object) -> None:
        raise fault

    monkeypatch.setattr(os, call, fail)
    with pytest.raises(UserError if isinstance(fault, OSError) else type(fault)) as caught:
        write(str(tmp_path / "a"), b"new")
    assert (listing(tmp_path), (tmp_path / "a").read_bytes()) == (["a"], b"old")
    assert not isinstance(caught.value, UserError) or "make room" in caught.value.remedy


def test_the_name_beside_is_nobody_elses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "urandom", bytes)
    beside = tmp_path / f".formulint-{bytes(8).hex()}.tmp"
    beside.write_bytes(b"theirs")
    with pytest.raises(UserError, match="cannot be written"):
        write(str(tmp_path / "a"), b"new")
    assert (listing(tmp_path), beside.read_bytes()) == ([beside.name], b"theirs")


def test_folders_below_a_root_are_made(tmp_path: Path) -> None:
    write_below(str(tmp_path), "releases/2026/T-1.toml", b"new")
    write_below(str(tmp_path), "releases/2026/\udcff.toml", b"new")
    assert (tmp_path / "releases/2026/T-1.toml").read_bytes() == b"new"
    assert os.listdir(os.fsencode(tmp_path / "releases/2026")).count(b"\xff.toml") == 1


OUTSIDE = ["", ".", "..", "../x", "a/../../x", "/tmp/x", "a//b", "a/", "./a", ".git/hooks/pre-commit", "a/.GIT/x"]
OUTSIDE += ["a\\..\\x", "a\0b"]


@pytest.mark.parametrize("name", OUTSIDE)
def test_nothing_is_written_outside_the_root(tmp_path: Path, name: str) -> None:
    (tmp_path / "root").mkdir()
    with pytest.raises(UserError, match="does not name a file of this formula repository"):
        write_below(str(tmp_path / "root"), name, b"new")
    assert os.listdir(tmp_path) == ["root"] and listing(tmp_path / "root") == []


@pytest.mark.parametrize("name", ["link/x", "link/sub/x", "dir/link/x", "dangling/x", "file/x"])
def test_links_on_the_way_are_not_followed(tmp_path: Path, name: str) -> None:
    root, outside = tmp_path / "root", tmp_path / "outside"
    (outside / "sub").mkdir(parents=True)
    (root / "dir").mkdir(parents=True)
    (root / "file").touch()
    (root / "link").symlink_to(outside)
    (root / "dir/link").symlink_to(outside)
    (root / "dangling").symlink_to(tmp_path / "made")
    with pytest.raises(UserError, match="a folder on the way is a link or a file"):
        write_below(str(root), name, b"new")
    assert listing(outside) == [] and not (tmp_path / "made").exists()

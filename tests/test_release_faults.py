"""A release that is killed, has no room, comes twice at once or is not heard: nothing half written, no yes that is not one."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest
from signing import DAY, RECORD, SETTINGS, House, lose

DIES = """\
import os, signal, sys
import formulint.writing
real, count = {real}, [0]
def dies(*words, **more):
    count[0] += 1
    if count[0] == {number}:
        {partly}
        os.kill(os.getpid(), signal.SIGKILL)
    return real(*words, **more)
{real} = dies
from formulint.cli import run
run()
"""
FULL = """\
import os, resource
{first}
from formulint import writing
real = writing.add_below
def add(*words):
    resource.setrlimit(resource.RLIMIT_FSIZE, ({room}, {room}))
    return real(*words)
writing.add_below = add
from formulint.cli import run
run()
"""
POINTS: dict[str, dict[str, object]] = {
    "before the folder": {"real": "os.mkdir", "number": 1, "partly": "pass"},
    "after the folder": {"real": "os.mkdir", "number": 1, "partly": "real(*words, **more)"},
    "with the file begun": {"real": "formulint.writing._nameless", "number": 1, "partly": "os.write(real(*words)[0], b'format = 1')"},
    "with half of it on the disk": {"real": "os.fsync", "number": 1, "partly": "os.ftruncate(words[0], 100)"},
    "before it has a name": {"real": "os.link", "number": 1, "partly": "pass"},
    "when it has its name": {"real": "os.link", "number": 1, "partly": "real(*words, **more)"},
}


@pytest.fixture
def house(house: House) -> House:
    """A house that may release T-101."""
    house.approve()
    return house


def words(house: House) -> list[str]:
    return ["-C", str(house.repo), "release", "T-101", "--today", DAY]


def started(house: House, **more: object) -> subprocess.Popen[bytes]:
    """The release as a process of its own."""
    call = (sys.executable, "-m", "formulint", *words(house))
    return subprocess.Popen(call, **{"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **more})  # type: ignore[call-overload, no-any-return]


def whole(house: House) -> bool:
    """True where the record is there and proved again; it is there as a whole or not at all."""
    assert house.records in ([], ["T-101-r1.toml"])
    if not house.records:
        return False
    assert house.ask("release", "--verify").status == 0
    return True


@pytest.mark.parametrize("point", POINTS)
def test_a_release_that_is_killed_leaves_a_whole_record_or_none(house: House, point: str) -> None:
    dies = DIES.format(**POINTS[point])
    killed = subprocess.run((sys.executable, "-c", dies, *words(house)), capture_output=True, check=False)
    assert killed.returncode == -9
    there = whole(house)
    assert there == (point == "when it has its name")
    assert house.release().status == (1 if there else 0)


def test_without_files_that_have_no_name_it_is_whole_or_not_there_either(house: House) -> None:
    dies = "import os; del os.O_TMPFILE\n" + DIES.format(real="os.link", number=1, partly="pass")
    assert subprocess.run((sys.executable, "-c", dies, *words(house)), capture_output=True, check=False).returncode == -9
    assert [name for name in house.records if not name.endswith(".tmp")] == []
    assert house.release().status == 0 and (house.repo.path / RECORD).exists()


@pytest.mark.parametrize("nameless", [True, False])
@pytest.mark.parametrize("room", [0, 1, 4096])
def test_a_disk_without_room_is_said(house: House, room: int, nameless: bool) -> None:
    code = FULL.format(room=room, first="" if nameless else "del os.O_TMPFILE")
    ran = subprocess.run((sys.executable, "-c", code, *words(house)), capture_output=True, text=True, check=False)
    assert ran.returncode == 2 and "cannot be written: file too large" in ran.stderr
    assert house.records == []


def test_of_several_at_once_one_wins(house: House) -> None:
    several = [started(house) for _ in range(4)]
    assert sorted((one.communicate(), one.returncode)[1] for one in several) == [0, 1, 1, 1]
    assert whole(house)


def test_nobody_listens(house: House) -> None:
    ran = subprocess.run(f'exec "{sys.executable}" -m formulint {" ".join(words(house))} >&-', shell=True, capture_output=True, text=True, check=False)
    assert ran.returncode == 2 and "nobody can read the answer" in ran.stderr and house.records == []


def test_who_listened_has_gone(house: House) -> None:
    theirs, ours = os.pipe()
    os.close(theirs)
    ran = started(house, stdout=ours)
    os.close(ours)
    assert (ran.communicate(), ran.returncode)[1] == 2
    assert whole(house)  # it had been written before anything was said


SURROUNDINGS: dict[str, Mapping[str, str]] = {
    "no home": {},
    "a home that is not there": {"HOME": "/nowhere"},
    "another language": {"LC_ALL": "de_DE.UTF-8", "LANGUAGE": "de"},
    "another time zone": {"TZ": "Pacific/Kiritimati"},
}


@pytest.mark.parametrize("more", SURROUNDINGS.values(), ids=SURROUNDINGS.keys())
def test_it_is_the_same_to_the_byte_wherever_it_runs(house: House, more: Mapping[str, str]) -> None:
    assert house.release().status == 0
    text = (house.repo.path / RECORD).read_bytes()
    (house.repo.path / RECORD).unlink()
    kept = {name: os.environ[name] for name in ("PATH", "PYTHONPATH") if name in os.environ}
    ran = started(house, env={**kept, **more})
    assert ran.communicate() and ran.returncode == 0
    assert (house.repo.path / RECORD).read_bytes() == text


@pytest.mark.parametrize("target", [".", "../elsewhere"])
def test_a_folder_of_records_that_is_a_link_is_not_followed(house: House, tmp_path: Path, target: str) -> None:
    (tmp_path / "elsewhere").mkdir()
    (house.repo.path / "releases").symlink_to(target)
    answer = house.release("--at", "HEAD")
    assert answer.status == 2 and "is a link or a file" in answer.err
    assert list((tmp_path / "elsewhere").iterdir()) == [] and not (house.repo.path / "T-101-r1.toml").exists()


def test_a_damaged_clone_is_no_yes(house: House) -> None:
    lose(house.repo, house.repo.git("rev-parse", f"HEAD:{SETTINGS}"))
    assert house.release().status == 2 and house.records == []


def test_a_bare_repository_holds_no_place_for_a_record(house: House, tmp_path: Path) -> None:
    house.repo.git("clone", "-q", "--mirror", ".", str(tmp_path / "bare"))
    bare = house._replace(works=type(house.works)(type(house.repo)(tmp_path / "bare"), "", {}))
    answer = bare.release()
    assert answer.status == 2 and "no files lie here" in answer.err

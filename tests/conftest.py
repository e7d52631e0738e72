"""Every test runs in the same surroundings, whoever runs it and wherever."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from proposals import Works, copied, works_in
from repos import FIRST_DAY, IDENTITY
from signing import House, Keys, signed_house


def pytest_sessionstart() -> None:
    """Collect no garbage while thousands of tests are found: all of it stays."""
    gc.disable()


def pytest_collection_finish() -> None:
    """Let collections of garbage look only at what tests make: walking through all that was found costs a fifth of a test's time."""
    gc.enable()
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def surroundings(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No settings of the user or the machine, fixed identity and dates, no colour, no time zone, an empty home."""
    home: Path = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        for name in [name for name in os.environ if name.startswith(("GIT_", "PRE_COMMIT_", "XDG_", "LC_"))]:
            patch.delenv(name)
        for name in ("NO_COLOR", "FORCE_COLOR", "CLICOLOR", "CI", "COLUMNS", "LANGUAGE"):
            patch.delenv(name, raising=False)
        day = FIRST_DAY.format(1)
        fixed = {**IDENTITY, "GIT_AUTHOR_DATE": day, "GIT_COMMITTER_DATE": day}
        fixed |= {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "HOME": str(home)}
        fixed |= {"GIT_CONFIG_COUNT": "1", "GIT_CONFIG_KEY_0": "init.defaultBranch", "GIT_CONFIG_VALUE_0": "main"}
        fixed |= {"LANG": "C.UTF-8", "TZ": "UTC", "TERM": "dumb"}
        fixed["PYTHONPATH"] = str(Path(__file__).parent.parent)  # for the processes that tests start
        for name, value in fixed.items():
            patch.setenv(name, value)
        yield


@pytest.fixture(scope="session")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Keys:
    """Private keys of the people of a house, made once."""
    return Keys(tmp_path_factory.mktemp("keys"))


@pytest.fixture(scope="session")
def first_works(tmp_path_factory: pytest.TempPathFactory) -> Works:
    """A paint works, made once; never changed."""
    return works_in(tmp_path_factory.mktemp("first") / "works")


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory, first_works: Works) -> Works:
    """A works for questions that leave the repository as it is, but for more commits; one for the tests of a file."""
    return copied(first_works, tmp_path_factory.mktemp("works") / "works")


@pytest.fixture(scope="session")
def first_house(tmp_path_factory: pytest.TempPathFactory, keys: Keys) -> House:
    """A house whose approvals are signed, made once; never changed."""
    return signed_house(tmp_path_factory.mktemp("first") / "house", keys)


@pytest.fixture(scope="session")
def first_released(tmp_path_factory: pytest.TempPathFactory, first_house: House) -> House:
    """The same with T-101 on record and committed, made once; never changed."""
    made = first_house.copied(tmp_path_factory.mktemp("released") / "house")
    made.on_record()
    return made


@pytest.fixture
def house(tmp_path: Path, first_house: House) -> House:
    """A house whose approvals are signed, to be changed freely."""
    return first_house.copied(tmp_path / "house")


@pytest.fixture
def released(tmp_path: Path, first_released: House) -> House:
    """A house with T-101 on record and committed, to be changed freely."""
    return first_released.copied(tmp_path / "released")

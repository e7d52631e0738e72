"""A paint works whose approvals are signed: real keys, made in the test, and real tags and commits that they sign.

>>> house = signed_house(tmp_path, keys)                  # T-101 in production, the lab manager's key in the list of signers;
>>>                                                       # the fixtures ``house`` and ``released`` are copies of one made once
>>> house.approve("T-101")                                # by an annotated tag, signed by the lab manager
>>> house.ask("release", "T-101", "--today", DAY).status
"""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from proposals import Answer, Edits, Works, ask, both, copied, works_files, works_in
from repos import Repo
from story import amount, replace

MANAGER, CHEMIST, OFFICER, STRANGER = (f"{name}@example.org" for name in ("lab.manager", "a.chemist", "regulatory", "stranger"))
DAY = "2026-01-20"
NOON = "{}T12:00:00+00:00"
FLAT, SETTINGS, SIGNERS = "formulas/T-101.toml", "formulint.toml", "approvers.signers"
RECORD = "releases/T-101-r1.toml"
SLIGHT = amount("RM-1901", "1.5 lb", "1.6 lb")
"""Another paint, the same revision."""
SECOND = both(replace("revision = 1", "revision = 2"), SLIGHT)
"""The next revision of T-101."""


class Keys(NamedTuple):
    """A folder with the private keys of people, by address, made by ssh-keygen."""

    folder: Path

    def private(self, who: str) -> Path:
        """The file of a private key; made when it is first asked for."""
        path = self.folder / who
        if not path.exists():
            subprocess.run(("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", who, "-f", str(path)), check=True)
        return path

    def line(self, who: str, options: str = "", named: str = "") -> str:
        """A line of a list of signers."""
        sort, key = self.private(who).with_name(who + ".pub").read_text().split()[:2]
        return " ".join(filter(None, (named or who, options, sort, key))) + "\n"


def settings(text: str, **more: str) -> str:
    """The settings of the works with more at their top: ``signers`` unless it is empty."""
    lines = {"signers": SIGNERS, **more}
    return "".join(f'{name} = "{value}"\n' for name, value in lines.items() if value) + text


def untested(text: str) -> str:
    """A sheet that asks for no test."""
    return text.partition("\n[tests]")[0] + "\n"


class House(NamedTuple):
    """The works, the keys, and who commits what."""

    works: Works
    keys: Keys

    @property
    def repo(self) -> Repo:
        """Its repository."""
        return self.works.repo

    def copied(self, folder: Path) -> House:
        """The same house once more, to be changed freely."""
        return House(copied(self.works, folder), self.keys)

    def ask(self, *words: str, how: str = "json") -> Answer:
        """The command's answer, in this process; ``how`` it is shown ("" for commands that have one way only)."""
        return ask("-C", str(self.repo), *words, how=how)

    def seals(self, code: str, at: str = "HEAD") -> str:
        """The words by which a formula is approved."""
        answer = self.ask("approve", code, "--at", at, how="")
        assert answer.status == 0, answer.err
        return answer.out

    def approve(self, code: str = "T-101", who: str = MANAGER, at: str = "HEAD", day: str = DAY, text: str = "", key: str | None = None, name: str = "") -> str:
        """An annotated tag that approves, signed by the key of ``key`` (default: of ``who``; "" for no signature); its id."""
        name = name or f"approved/{code}-{len(self.repo.git('tag').split())}"
        signer = who if key is None else key
        sign = ("-c", "gpg.format=ssh", "-c", f"user.signingkey={self.keys.private(signer)}") if signer else ()
        self._git(who, day, *sign, "tag", "-s" if signer else "-a", "-m", text or self.seals(code, at), name, at)
        return self.repo.git("rev-parse", f"refs/tags/{name}")

    def approve_by_commit(self, code: str = "T-101", who: str = MANAGER, day: str = DAY, key: str | None = None, text: str = "") -> str:
        """An empty commit that approves, signed likewise; its id."""
        signer = who if key is None else key
        sign = ("-c", "gpg.format=ssh", "-c", f"user.signingkey={self.keys.private(signer)}") if signer else ()
        self._git(who, day, *sign, "commit", "-q", "--allow-empty", *(("-S",) if signer else ()), "-m", text or self.seals(code))
        return self.repo.head

    def commit(self, edits: Edits, who: str = CHEMIST, day: str = "2026-01-13", message: str = "change") -> str:
        """Edits of the texts as they lie there, committed by somebody; the full id."""
        texts = {name: edit((self.repo.path / name).read_text()) if callable(edit) else edit for name, edit in edits.items()}
        self.repo.stage({name: text for name, text in texts.items() if text is None or isinstance(text, str)})
        self._git(who, day, "commit", "-q", "--allow-empty", "-m", message)
        return self.repo.head

    def _git(self, who: str, day: str, *words: str) -> None:
        named = [part for role in ("author", "committer") for key in ("name", "email") for part in ("-c", f"{role}.{key}={who}")]
        kept = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
        dates = {"GIT_AUTHOR_DATE": NOON.format(day), "GIT_COMMITTER_DATE": NOON.format(day)}
        subprocess.run(("git", *named, *words), cwd=self.repo.path, env={**kept, **dates}, check=True, capture_output=True)

    def release(self, *words: str, code: str = "T-101", today: str = DAY) -> Answer:
        """The command that releases."""
        return self.ask("release", code, "--today", today, *words)

    @property
    def records(self) -> list[str]:
        """Everything that lies in the folder of records."""
        folder = self.repo.path / "releases"
        return sorted(path.name for path in folder.iterdir()) if folder.exists() else []

    def on_record(self, code: str = "T-101") -> str:
        """Approve, release and commit the record; its text."""
        self.approve(code)
        answer = self.release(code=code)
        assert answer.status == 0, answer.said
        name: str = json.loads(answer.out)["path"]
        text = (self.repo.path / name).read_text()
        self.commit({name: text}, who=OFFICER, day=DAY, message="on record")
        return text


def lose(repo: Repo, oid: str) -> None:
    """Take one object out of a repository, wherever it lies."""
    folder = repo.path / ".git" / "objects"
    packs = [path.rename(repo.path / ".git" / path.name) for path in (folder / "pack").glob("*.pack")]
    for left in (folder / "pack").glob("*"):
        left.unlink()
    for pack in packs:
        repo.git("unpack-objects", "-q", stdin=pack.read_bytes())
    (folder / oid[:2] / oid[2:]).unlink()


def refused(answer: Answer) -> set[str]:
    """The rules by which something is refused."""
    assert answer.status in (0, 1), answer.err
    return {one["rule"] for one in json.loads(answer.out)["results"] if one["kind"] == "review" or one["level"] == "error"}


def signed_house(folder: Path, keys: Keys, listed: str | None = None, texts: Mapping[str, str] | None = None, **more: str) -> House:
    """The works with a list of signers (default: the lab manager and the regulatory officer) and T-101 without tests."""
    found = works_files()
    found[FLAT] = untested(found[FLAT])
    found[SETTINGS] = settings(found[SETTINGS], **more)
    found[SIGNERS] = keys.line(MANAGER) + keys.line(OFFICER) if listed is None else listed
    return House(works_in(folder, {**found, **(texts or {})}), keys)

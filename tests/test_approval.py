"""Approvals as somebody gives them or forges them: real keys, real signatures, real git."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from proposals import Answer
from signing import (
    CHEMIST,
    DAY,
    FLAT,
    MANAGER,
    OFFICER,
    SETTINGS,
    SIGNERS,
    STRANGER,
    House,
    Keys,
    refused,
    signed_house,
)
from story import amount, replace

from formulint.approval import What, message, read
from formulint.fingerprints import Digests

SEALS = Digests(*(f"{letter}1:{letter[0] * 64}" for letter in "cmd"))
WHAT = What("T-101", 2, SEALS)
GOOD = message(WHAT)


# --- the words ---------------------------------------------------------------------------------------------------

WORDS = {
    "as printed": (GOOD, [WHAT]),
    "with words around": (f"Seen at the bench.\n\n{GOOD}\nRegards\n", [WHAT]),
    "with the ends of lines of another system": (GOOD.replace("\n", "\r\n"), [WHAT]),
    "two at once": (GOOD + GOOD.replace("T-101", "T-102"), [WHAT, What("T-102", 2, SEALS)]),
    "quoted": ("> " + GOOD.replace("\n", "\n> "), []),
    "indented": ("  " + GOOD.replace("\n", "\n  "), []),
    "a digest twice": (GOOD + f"Data: {SEALS.data}\n", []),
    "a digest missing": (GOOD.replace("Making", "Makes"), []),
    "no revision": (GOOD.replace(" revision 2", ""), []),
    "revision of another form": (GOOD.replace("revision 2", "revision 02"), []),
    "digests before": ("\n".join(reversed(GOOD.splitlines())), []),
    "another case": (GOOD.replace("Approves", "approves"), []),
}


@pytest.mark.parametrize(("text", "found"), WORDS.values(), ids=WORDS.keys())
def test_what_a_message_approves(text: str, found: list[What]) -> None:
    assert read(text) == found


# --- who, by which key -------------------------------------------------------------------------------------------


def approved(answer: Answer) -> list[tuple[str, str]]:
    """Who approved what was released, and how."""
    assert answer.status == 0, answer.said
    return [(one["by"], one["how"]) for one in json.loads(answer.out)["record"]["approval"]]


def not_approved(answer: Answer, words: str) -> None:
    """It is refused for want of an approval, which says why what is there does not count."""
    assert (answer.status, refused(answer)) == (1, {"approval/given"})
    assert words in answer.said


GIVEN: dict[str, Callable[[House], object]] = {
    "a signed tag": lambda house: house.approve(),
    "a signed commit": lambda house: house.approve_by_commit(),
    "a tag on another commit": lambda house: (house.commit({"README.md": "x\n"}), house.approve()),
    "a tag with another name on the outside": lambda house: house.repo.git("update-ref", "refs/tags/x/y", house.approve()),
}


@pytest.mark.parametrize("give", GIVEN.values(), ids=GIVEN.keys())
def test_an_approval_counts(house: House, give: Callable[[House], object]) -> None:
    give(house)
    assert approved(house.release()) == [(MANAGER, "signed")]


def tampered(house: House) -> None:
    """A good approval of another formula with the words for this one behind its signature, where it covers nothing."""
    oid = house.approve("T-105")
    raw = subprocess.run(("git", "cat-file", "tag", oid), cwd=house.repo.path, capture_output=True, check=True).stdout
    forged = house.repo.git("hash-object", "-t", "tag", "-w", "--stdin", stdin=raw + b"\n" + house.seals("T-101").encode())
    house.repo.git("update-ref", "refs/tags/forged", forged)


def reworded(house: House) -> None:
    """A good approval with one word of it changed."""
    raw = subprocess.run(("git", "cat-file", "tag", house.approve("T-105")), cwd=house.repo.path, capture_output=True, check=True).stdout
    seals = dict(zip(house.seals("T-105").split(), house.seals("T-101").split(), strict=True))
    for old, new in seals.items():
        raw = raw.replace(old.encode(), new.encode())
    house.repo.git("update-ref", "refs/tags/forged", house.repo.git("hash-object", "-t", "tag", "-w", "--stdin", stdin=raw))


NOT: dict[str, tuple[Callable[[House], object], str]] = {
    "none": (lambda house: None, "no tag and no commit approves it"),
    "an unsigned tag": (lambda house: house.approve(key=""), "it is not signed"),
    "an unsigned commit": (lambda house: house.approve_by_commit(key=""), "it is not signed"),
    "a key that is not listed": (lambda house: house.approve(key=STRANGER), "its signature is not good"),
    "a listed person who approves other things": (lambda house: house.approve(who=OFFICER), f"{OFFICER} is not among those who approve formulas"),
    "another name, the same key": (lambda house: house.approve(who=MANAGER, key=OFFICER), f"{OFFICER} is not among those who approve formulas"),
    "words behind the signature": (tampered, "no tag and no commit approves it"),
    "words changed under the signature": (reworded, "its signature is not good"),
    "dated after the release": (lambda house: house.approve(day="2026-01-21"), "it is dated 2026-01-21, after 2026-01-20"),
    "another revision": (lambda house: house.approve(text=house.seals("T-101").replace("revision 1", "revision 2")), "no tag and no commit"),
    "another composition": (lambda house: house.approve(text=house.seals("T-101").replace("c1:", "c1:0")), "it approves composition c1:0"),
    "a plain tag": (lambda house: house.repo.git("tag", "approved/T-101-r1"), "no tag and no commit"),
    "a commit that is in no history": (lambda house: (house.approve_by_commit(), house.repo.git("reset", "-q", "--hard", "HEAD~1")), "no tag and no commit"),
}  # fmt: skip


@pytest.mark.parametrize(("give", "words"), NOT.values(), ids=NOT.keys())
def test_what_is_no_approval(house: House, give: Callable[[House], object], words: str) -> None:
    give(house)
    not_approved(house.release(), words)
    assert house.records == []


def test_it_dies_with_a_digest(house: House) -> None:
    house.approve()
    house.commit({FLAT: amount("RM-1901", "1.5 lb", "1.6 lb")})
    not_approved(house.release(), "it approves composition")


def test_it_dies_with_a_figure_of_a_material(house: House) -> None:
    house.approve()
    house.commit({"materials/RM-1301.toml": replace('"9.06 lb/gal"', '"9.05 lb/gal"')})
    not_approved(house.release(), "it approves data")


def test_it_survives_a_squash(house: House) -> None:
    house.commit({FLAT: amount("RM-1901", "1.5 lb", "1.6 lb")})
    house.approve()
    house.repo.git("reset", "-q", "--soft", house.works.base)
    house.commit({}, message="squashed")
    assert approved(house.release()) == [(MANAGER, "signed")]


# --- author and approver -----------------------------------------------------------------------------------------

def staged(house: House) -> str:
    """A change of the formula, staged; its name."""
    house.repo.stage({FLAT: amount("RM-1901", "1.5 lb", "1.6 lb")((house.repo.path / FLAT).read_text())})
    return FLAT


WROTE: dict[str, Callable[[House], object]] = {
    "wrote it": lambda house: house.commit({FLAT: amount("RM-1901", "1.5 lb", "1.6 lb")}, who=MANAGER),
    "wrote it before somebody else": lambda house: (
        house.commit({FLAT: amount("RM-1901", "1.5 lb", "1.6 lb")}, who=MANAGER), house.commit({FLAT: amount("RM-1901", "1.6 lb", "1.7 lb")}),
    ),
    "wrote it with somebody": lambda house: house.commit(
        {FLAT: amount("RM-1901", "1.5 lb", "1.6 lb")}, message=f"change\n\nCo-authored-by: Lab Manager <{MANAGER.upper()}>"
    ),
    "moved it": lambda house: house.commit({FLAT: None, "formulas/flats/T-101.toml": (house.repo.path / FLAT).read_text()}, who=MANAGER),
    "approves it in the commit that changes it": lambda house: (staged(house), house.approve_by_commit()),
}  # fmt: skip


@pytest.mark.parametrize("write", WROTE.values(), ids=WROTE.keys())
def test_nobody_approves_what_they_wrote(house: House, write: Callable[[House], object]) -> None:
    write(house)
    house.approve()
    not_approved(house.release(), f"{MANAGER} changed the formula")


def test_a_borrowed_name_does_not_hide_a_key(house: House) -> None:
    staged(house)
    house.approve_by_commit(who=CHEMIST, key=MANAGER, text="better flow")
    house.approve()
    not_approved(house.release(), f"{MANAGER} changed the formula")


def test_who_wrote_an_intermediate_wrote_the_paint(house: House) -> None:
    house.commit({"formulas/PX-1.toml": replace("Thickener premix", "Premix")}, who=MANAGER)
    house.commit({"formulas/T-102.toml": lambda text: text.partition("\n[tests]")[0] + "\n"})
    house.approve("T-102")
    not_approved(house.release(code="T-102"), f"{MANAGER} changed the formula")


# --- the list of signers -----------------------------------------------------------------------------------------

LISTS: dict[str, tuple[Callable[[Keys], str], bool]] = {
    "in time": (lambda keys: keys.line(MANAGER, 'valid-after="20260101",valid-before="20260201"'), True),
    "no longer": (lambda keys: keys.line(MANAGER, 'valid-before="20260115"'), False),
    "not yet": (lambda keys: keys.line(MANAGER, 'valid-after="20260201"'), False),
    "for git": (lambda keys: keys.line(MANAGER, 'namespaces="git"'), True),
    "for files": (lambda keys: keys.line(MANAGER, 'namespaces="file"'), False),
    "under a pattern": (lambda keys: keys.line(MANAGER, named="*@example.org"), False),
    "somebody else's key under the name": (lambda keys: keys.line(OFFICER, named=MANAGER), False),
    "empty": (lambda keys: "", False),
    "not a list": (lambda keys: "hello\n", False),
}


@pytest.mark.parametrize(("listed", "counts"), LISTS.values(), ids=LISTS.keys())
def test_a_key_counts_as_the_list_says(tmp_path: Path, keys: Keys, listed: Callable[[Keys], str], counts: bool) -> None:
    house = signed_house(tmp_path / "house", keys, listed(keys))
    house.approve()
    assert house.release().status == (0 if counts else 1)


UNARMED: dict[str, tuple[dict[str, str], str]] = {
    "no list of signers": ({"signers": ""}, "the settings name no list of signers"),
    "a list that is not there": ({"signers": "keys/none"}, "keys/none as the list of signers, and there is no such file"),
}


@pytest.mark.parametrize(("more", "words"), UNARMED.values(), ids=UNARMED.keys())
def test_without_keys_nothing_is_approved(tmp_path: Path, keys: Keys, more: dict[str, str], words: str) -> None:
    house = signed_house(tmp_path / "house", keys, None, None, **more)
    house.approve()
    not_approved(house.release(), words)


def test_where_nobody_may_approve_nothing_is(house: House) -> None:
    house.commit({SETTINGS: replace('formula  = ["lab.manager@example.org"]', "formula  = []")})
    house.approve()
    not_approved(house.release(), "the settings name nobody who may approve formulas")


def test_a_program_of_the_repository_verifies_nothing(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    house.approve(key=STRANGER)
    liar = house.repo.path / "ssh-keygen"
    liar.write_text(f'#!/bin/sh\necho \'Good "git" signature for {MANAGER} with ED25519 key SHA256:{"A" * 43}\'\n')
    liar.chmod(0o755)
    house.repo.git("config", "gpg.ssh.program", str(liar))
    monkeypatch.setenv("PATH", f".:{os.environ['PATH']}")
    assert house.release("--at", "HEAD").status == 1


def test_without_ssh_keygen_nobody_can_say(house: House, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    house.approve()
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "git").symlink_to("/usr/bin/git")
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    answer = house.release()
    assert answer.status == 2 and "ssh-keygen is not installed" in answer.err


# --- stated ------------------------------------------------------------------------------------------------------


@pytest.fixture
def trusting(tmp_path: Path, keys: Keys) -> House:
    """A house that asks for no signatures."""
    return signed_house(tmp_path / "house", keys, approvals="stated", signers="")


@pytest.mark.parametrize("by_commit", [False, True])
def test_a_stated_approval_counts_where_the_settings_say_so_and_is_told_loudly(trusting: House, by_commit: bool) -> None:
    _ = trusting.approve_by_commit(key="") if by_commit else trusting.approve(key="")
    shown = trusting.ask("release", "T-101", "--today", DAY, how="markdown")
    assert shown.status == 0 and shown.out.count("stated, not proved") >= 3
    text = (trusting.repo.path / "releases/T-101-r1.toml").read_text()
    assert 'how = "stated, not proved"' in text and "approvals are stated, not proved" in text


def test_a_stated_approval_by_somebody_else_counts_nowhere(trusting: House) -> None:
    trusting.approve(who=CHEMIST, key="")
    not_approved(trusting.release(), f"{CHEMIST} is not among those who approve formulas")


def test_a_bad_signature_is_not_taken_for_a_statement(tmp_path: Path, keys: Keys) -> None:
    house = signed_house(tmp_path / "house", keys, approvals="stated")
    house.approve(key=STRANGER)
    not_approved(house.release(), "its signature is not good")


# --- OpenPGP -----------------------------------------------------------------------------------------------------


@pytest.fixture
def openpgp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The fingerprint of an OpenPGP key of the lab manager, in a keyring of its own."""
    home = tmp_path / "gnupg"
    home.mkdir(mode=0o700)
    monkeypatch.setenv("GNUPGHOME", str(home))
    made = ("gpg", "--batch", "--quiet", "--passphrase", "", "--quick-generate-key", f"Lab <{MANAGER}>", "ed25519", "sign", "never")
    subprocess.run(made, check=True, capture_output=True)
    listed = subprocess.run(("gpg", "--list-keys", "--with-colons"), check=True, capture_output=True, text=True).stdout
    yield next(line.split(":")[9] for line in listed.splitlines() if line.startswith("fpr"))
    subprocess.run(("gpgconf", "--kill", "all"), check=False)


@pytest.mark.parametrize("pinned", [True, False])
def test_an_openpgp_key_counts_where_its_fingerprint_is_pinned(tmp_path: Path, keys: Keys, openpgp: str, pinned: bool) -> None:
    house = signed_house(tmp_path / "house", keys)
    house.commit({SETTINGS: lambda text: f'{text}\n[approvers.gpg]\n"{MANAGER}" = "{openpgp if pinned else "0" * 40}"\n'})
    house.repo.git("-c", "gpg.format=openpgp", "-c", f"user.signingkey={openpgp}", "tag", "-s", "-m", house.seals("T-101"), "pgp", date="2026-01-14T12:00:00Z")
    assert house.release().status == (0 if pinned else 1)


# --- the command -------------------------------------------------------------------------------------------------


def approve(house: House, *words: str) -> subprocess.CompletedProcess[str]:
    call = (sys.executable, "-m", "formulint", "-C", str(house.repo), "approve", *words)
    return subprocess.run(call, capture_output=True, text=True, check=False)


def test_what_it_prints_is_what_counts(house: House) -> None:
    text = approve(house, "T-101").stdout
    assert read(text)[0].formula == "T-101"
    house.repo.write({FLAT: amount("RM-1901", "1.5 lb", "1.6 lb")((house.repo.path / FLAT).read_text())})
    told = approve(house, "T-101")
    assert told.stdout == text and "otherwise than it is committed" in told.stderr


def test_the_tag_that_it_makes_counts(house: House, keys: Keys) -> None:
    for name, value in {"user.name": "L", "user.email": MANAGER, "gpg.format": "ssh", "user.signingkey": str(keys.private(MANAGER))}.items():
        house.repo.git("config", name, value)
    assert [approve(house, "T-101", "--tag").stdout.split("\n")[0] for _ in range(2)] == ["approved/T-101-r1", "approved/T-101-r1-2"]
    answer = house.release(today=str(date.today()))
    assert approved(answer) == [(MANAGER, "signed")]


def test_a_tag_that_git_does_not_make_is_said(house: House) -> None:
    house.repo.git("config", "gpg.format", "ssh")
    house.repo.git("config", "user.signingkey", "/nowhere")
    told = approve(house, "T-101", "--tag")
    assert told.returncode == 2 and "git did not make the tag" in told.stderr and house.repo.git("tag") == ""


def test_signers_that_the_release_rests_on_are_on_record(house: House) -> None:
    assert f'path = "{SIGNERS}"' in house.on_record()

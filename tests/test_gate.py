"""The gate as a question to git: which base, which head, what a merge would hold, and no yes where nobody can know."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import zlib
from pathlib import Path
from typing import NamedTuple

import pytest
from proposals import BENCH, Answer, Edits, Works, ask, both, copied, joined, process, works_files, works_in
from repos import Link, Repo
from story import STEPS, amount, in_kilograms, less, raised, replace

FLAT, MATT, PREMIXED, PREMIX = (f"formulas/{code}.toml" for code in ("T-101", "T-301", "T-102", "PX-1"))
LATEX, THICKENER, SETTINGS, HOUSE, CI = "materials/RM-1301.toml", "materials/RM-1601.toml", "formulint.toml", "rules/house.toml", ".github/workflows/formulas.yml"
TEXTS = works_files()
GOOD: Edits = {FLAT: both(raised, amount("RM-1901", "1.5 lb", "1.6 lb"))}
FILLED = amount("RM-1001", "123.9 lb", "133.9 lb")
BAD: Edits = {FLAT: FILLED}
FULL = "closure/batch: formulas/T-101.toml"
TOGETHER = "each side passed alone, together they do not"
REAL_GIT = shutil.which("git") or "git"


@pytest.fixture
def own(works: Works, tmp_path: Path) -> Works:
    """A copy to be changed freely."""
    return copied(works, tmp_path / "own")


def cannot(answer: Answer, words: str) -> None:
    """It is no answer, in these words, and it says what helps."""
    assert answer.status == 2, answer
    assert words in answer.said
    assert " do: " in answer.said


# --- honest proposals --------------------------------------------------------------------------------------------

SECOND = {"formulas/T-500.toml": TEXTS[BENCH].replace("T-900", "T-500").replace("RM-1601", "RM-1699")}
ON_TRIAL = TEXTS[THICKENER].replace("RM-1601", "RM-1699").replace('"approved"', '"trial"')
HONEST: dict[str, Edits] = {
    "a composition within its limits": {FLAT: both(raised, amount("RM-1101", "200.0 lb", "199.0 lb"))},
    "the story's first change": {"formulas/T-149.toml": both(*STEPS["1"].edits["T-149"])},
    "a formula on the bench and a material on trial, both new": {**SECOND, "materials/RM-1699.toml": ON_TRIAL},
    "a material that is on trial, corrected": {"materials/RM-1307.toml": replace('"8.84 lb/gal"', '"8.85 lb/gal"')},
    "the same density in another unit": {LATEX: replace('"9.06 lb/gal"', '"906 lb/100 gal"')},
    "a comment and a name": {FLAT: lambda text: replace("Interior flat, white", "Flat, white")(f"# seen\n{text}")},
    "the same amounts in other units": {FLAT: in_kilograms()},
    "a price": {LATEX: lambda text: replace("price      =", "price      = ", )(text).replace("price_date = ", "# today\nprice_date = ")},
    "a figure corrected": {THICKENER: lambda text: text.replace('ph  ', 'ph   ') + "# checked\n"},
    "words for people": {"README.md": "# Works\n", "docs/notes.md": "x\n"},
    "a file moved within its folder": {FLAT: None, "formulas/flats/T-101.toml": TEXTS[FLAT]},
    "the bench is free": {BENCH: both(replace('"flat"', '"matt"'), replace('max = "59 %"', 'max = "69 %"'))},
    "from the bench to a pilot": {BENCH: replace('"bench"', '"pilot"')},
    "a bench formula given up": {BENCH: None},
    "a weaker premix": {PREMIX: both(replace('"104.5 lb"', '"104.4 lb"'), amount("RM-1601", "4.5 lb", "4.4 lb"))},
    "a house rule is met at its edge": {MATT: amount("RM-1802", "0.8 lb", "0.9 lb")},
}  # fmt: skip


@pytest.mark.parametrize("edits", HONEST.values(), ids=HONEST.keys())
def test_an_honest_proposal_passes(works: Works, edits: Edits) -> None:
    answer = works.gate(works.propose(edits))
    assert (answer.status, answer.err) == (0, ""), answer.said


@pytest.mark.parametrize("kind", ["sha256", "below", "bare", "worktree"])
def test_it_answers_wherever_the_root_lies(tmp_path: Path, kind: str) -> None:
    root = "paint/" if kind == "below" else ""
    works = works_in(tmp_path / "works", root=root, object_format="sha256" if kind == "sha256" else "sha1")
    good, bad = works.propose(GOOD, root=root), works.propose(BAD, root=root)
    other = tmp_path / "other"
    if kind == "bare":
        works.repo.git("clone", "-q", "--bare", "--mirror", ".", str(other))
    elif kind == "worktree":
        works.repo.git("worktree", "add", "-q", "--detach", str(other), bad)
    place = Works(Repo(other), works.base, works.texts) if other.exists() else works
    assert [place.gate(head, folder=root).status for head in (good, bad)] == [0, 1]


# --- which commits -----------------------------------------------------------------------------------------------


class Name(NamedTuple):
    """A base as somebody may name it, the refs that are made before (to the proposal), and the complaint."""

    base: str
    refs: tuple[str, ...]
    words: str


NAMES = [
    Name("origin/main", ("refs/tags/origin/main", "refs/remotes/origin/main"), 'may be refs/remotes/origin/main or refs/tags/origin/main'),
    Name("v1", ("refs/tags/v1", "refs/heads/v1"), "may be refs/heads/v1 or refs/tags/v1"),
    Name("v2", ("refs/v2", "refs/heads/v2"), "may be refs/heads/v2 or refs/v2"),
    Name("refs/heads/next", ("refs/tags/refs/heads/next",), 'there is no ref "refs/heads/next"'),
    Name("refs/heads", ("refs/heads/p",), 'there is no ref "refs/heads"'),
    Name("refs/heads/main~0", (), "there is no ref"),
    Name("refs/heads/*", (), "there is no ref"),
    Name("HEAD", (), "does not name a commit"),
    Name("main~0", (), "is not the name of a branch or tag"),
    Name("main^{tree}", (), "is not the name of a branch or tag"),
    Name("@{u}", (), "is not the name of a branch or tag"),
    Name(":/x", (), "is not the name of a branch or tag"),
    Name("-x", (), ""),
    Name("--all", (), ""),
    Name("a b", (), "is not the name of a branch or tag"),
    Name("nowhere", (), "does not name a commit"),
    Name("0" * 40, (), "does not name a commit"),
    Name("", (), "the gate needs a base"),
]


@pytest.mark.parametrize("name", NAMES, ids=lambda name: name.base or "nothing")
def test_a_base_that_may_be_another_is_none(own: Works, name: Name) -> None:
    head = own.propose(GOOD)
    for ref in name.refs:
        own.repo.git("update-ref", ref, own.base)
    answer = ask("-C", str(own.repo), "gate", f"--base={name.base}", "--head", head)
    cannot(answer, name.words)


def test_a_tree_is_no_base_and_the_first_letters_of_an_id_are_none(works: Works) -> None:
    head = works.propose(GOOD)
    cannot(works.gate(head, base=works.repo.git("rev-parse", f"{works.base}^{{tree}}")), "but a tree")
    cannot(works.gate(head, base=works.base[:12]), "does not name a commit")


@pytest.mark.parametrize("base", ["main", "refs/heads/main", "origin/main", "annotated"])
def test_a_base_that_is_clear(own: Works, base: str) -> None:
    own.repo.git("update-ref", "refs/remotes/origin/main", own.base)
    own.repo.git("tag", "-a", "-m", "x", "annotated", own.base)
    assert own.gate(own.propose(GOOD), base=base).status == 0


@pytest.mark.parametrize("end", ["", "~0", "^{commit}"])
def test_a_tag_does_not_stand_in_for_the_branch_that_is_proposed(own: Works, end: str) -> None:
    own.repo.git("update-ref", "refs/tags/topic", own.propose(GOOD))
    head = own.propose(BAD, name="topic")
    cannot(own.gate(f"topic{end}"), "may be refs/heads/topic or refs/tags/topic")
    assert [own.gate(name).status for name in (head, "refs/heads/topic")] == [1, 1]


def test_the_head_is_what_is_checked_out(own: Works) -> None:
    own.repo.git("checkout", "-q", own.propose(BAD))
    assert ask("-C", str(own.repo), "gate", "--base", "main").status == 1


def test_nothing_proposed(works: Works) -> None:
    head = works.propose(GOOD)
    for base, tip in ((works.base, works.base), (head, works.base), (head, head)):
        cannot(works.gate(tip, base=base), "proposes nothing")


@pytest.mark.parametrize("head", ["nowhere", "^main", "main..main", "--all", "-h", "$(true)", ""])
def test_a_head_that_is_no_commit(works: Works, head: str) -> None:
    answer = ask("-C", str(works.repo), "gate", "--base", works.base, f"--head={head}")
    assert answer.status == 2
    assert answer.err


# --- what a merge would hold -------------------------------------------------------------------------------------

GLYCOL, COALESCENT = ({"formulas/T-120.toml": both(*STEPS[name].edits["T-120"])} for name in ("glycol", "coalescent"))
TWINS: list[Edits] = [{f"formulas/{folder}/T-7.toml": TEXTS[FLAT].replace("T-101", "T-7")} for folder in "ab"]
TRIAL = both(replace('"T-900"', '"T-7"'), amount("RM-1301", "280.0 lb", "280.0 lb", "RM-1307"), less("RM-1001", "6.4"))
TIGHT = both(replace('"T-102"', '"T-500"'), replace("[limits]", '[limits]\nnonvolatile_mass = { max = "55.95 %" }'))
APART: dict[str, tuple[Edits, Edits, str]] = {
    "two organic liquids, each within the limit": (GLYCOL, COALESCENT, "voc/us-south-coast: formulas/T-120.toml"),
    "one code in two files": (TWINS[0], TWINS[1], "T-7 is also the code of"),
    "a material given up, and taken up": (
        {"materials/RM-1307.toml": None}, {"formulas/T-7.toml": TRIAL(TEXTS[BENCH])}, 'there is no material "RM-1307"',
    ),
    "a paint that uses a premix, and another premix": (
        {"formulas/T-500.toml": TIGHT(TEXTS[PREMIXED])},
        {PREMIX: both(amount("RM-1001", "100.0 lb", "98.0 lb"), amount("RM-1601", "4.5 lb", "6.5 lb"))},
        "own-limit/nonvolatile-mass: formulas/T-500.toml",
    ),
}  # fmt: skip


@pytest.mark.parametrize("merged", [False, True], ids=["not merged", "merged"])
@pytest.mark.parametrize(("ours", "theirs", "words"), APART.values(), ids=APART.keys())
def test_two_sides_that_pass_alone_and_not_together(works: Works, ours: Edits, theirs: Edits, words: str, merged: bool) -> None:
    base, head = works.propose(ours), works.propose(theirs)
    assert [works.gate(side).status for side in (base, head)] == [0, 0]
    answer = works.gate(works.propose(joined(ours, theirs), base, head)) if merged else works.gate(head, base=base)
    assert answer.status == 1
    assert [line for line in answer.said.split("\n") if words in line and line.endswith(TOGETHER)], answer.said


THIN: Edits = {PREMIX: both(replace('"104.5 lb"', '"114.5 lb"'), amount("RM-1601", "4.5 lb", "14.5 lb"))}


@pytest.mark.parametrize(("edits", "words"), [(BAD, FULL), (THIN, "own-limit/water: formulas/PX-1.toml")], ids=["a paint", "a premix on the bench"])
def test_what_one_side_has_by_itself_is_not_said_of_both(works: Works, edits: Edits, words: str) -> None:
    base, head = works.propose(GLYCOL), works.propose(edits)
    merged = works.propose(joined(GLYCOL, edits), base, head)
    for answer in (works.gate(head, base=base), works.gate(merged), works.gate(head)):
        assert words in answer.said
        assert TOGETHER not in answer.said


def test_a_merge_that_brings_more_than_its_sides(works: Works) -> None:
    evil = works.propose(joined(GLYCOL, BAD), works.propose(GLYCOL), works.propose(GOOD))
    assert FULL in works.gate(evil).said


def test_the_base_is_merged_in_and_that_is_said(works: Works) -> None:
    base, head = works.propose({"README.md": "x\n"}), works.propose(GOOD)
    answer = works.gate(head, base=base)
    assert (answer.status, json.loads(answer.out)["merged"]) == (0, True)
    shown = ask("-C", str(works.repo), "gate", "--base", base, "--head", head, how="markdown")
    assert "the proposal does not contain its base" in shown.out


def test_what_the_base_has_won_since_is_not_taken_for_the_proposals(works: Works) -> None:
    base = works.propose({HOUSE: lambda text: replace('"15.0 ppm"', '"12.0 ppm"')(text), CI: "name: stricter\n"})
    assert works.gate(works.propose(GOOD), base=base).status == 0
    stricter = works.gate(works.propose({MATT: amount("RM-1802", "0.8 lb", "1.0 lb")}), base=base)
    assert "house/cmit-mit: formulas/T-301.toml" in stricter.said


def test_a_conflict_is_named(works: Works) -> None:
    base, head = works.propose({FLAT: amount("RM-1901", "1.5 lb", "1.4 lb")}), works.propose(GOOD)
    cannot(works.gate(head, base=base), 'the proposal conflicts with its base in "formulas/T-101.toml"')


def test_two_that_have_no_common_past(own: Works) -> None:
    own.repo.git("checkout", "-q", "--orphan", "other")
    own.repo.commit("other", date="2026-01-13T12:00:00Z")
    cannot(own.gate(own.repo.head), "")


CHEATS = {
    "named": ("cheat", "* merge=cheat\n"),
    "an odd name": ("a=b", "* merge=a=b\n"),
    "by default": ("cheat", "# none\n"),
}


@pytest.mark.parametrize(("name", "attributes"), CHEATS.values(), ids=CHEATS.keys())
@pytest.mark.parametrize("place", [".gitattributes", ".git/info/attributes", "elsewhere"])
def test_no_merge_driver_runs(own: Works, tmp_path: Path, name: str, attributes: str, place: str) -> None:
    ran = tmp_path / "ran"
    (own.repo.path / place).parent.mkdir(exist_ok=True)
    (own.repo.path / place).write_text(attributes)
    settings = {f"merge.{name}.driver": f"touch {ran}; cp %B %A", "merge.default": name, "core.attributesFile": own.repo.path / "elsewhere"}
    for key, value in settings.items():
        with open(own.repo.path / ".git" / "config", "a") as config:
            section, _, rest = key.partition(".")
            inner, _, last = rest.rpartition(".")
            config.write(f'[{section} "{inner}"]\n{last} = "{value}"\n' if inner else f'[{section}]\n{last} = "{value}"\n')
    base, head = own.propose(GLYCOL), own.propose(COALESCENT)
    answer = own.gate(head, base=base)
    assert (answer.status in (1, 2), ran.exists()) == (True, False), answer.said
    assert "voc/us-south-coast" in answer.said or "conflicts" in answer.said
    own.repo.git("checkout", "-q", "--detach", head)
    own.repo.git("merge", "-q", "-m", "x", base, check=False)
    assert ran.exists(), "the cheat works where it may"


@pytest.mark.parametrize("default", ["text", "union", "binary"])
@pytest.mark.parametrize("attributes", ["# none\n", "* merge=union\n", "* -merge\n", "* text eol=crlf\n", "* filter=x\n"])
def test_nothing_that_lies_about_says_how_to_merge(own: Works, attributes: str, default: str) -> None:
    base, head = own.propose({FLAT: amount("RM-1901", "1.5 lb", "1.4 lb")}), own.propose(GOOD)
    fine = own.propose({FLAT: replace("Interior flat, white", "Flat, white")})
    own.repo.git("config", "merge.default", default)
    own.repo.stage({".gitattributes": attributes})
    own.repo.write({".git/.gitattributes": attributes})
    cannot(own.gate(head, base=base), "conflicts")
    assert own.gate(fine, base=base).status == 0


OLD_GIT = """\
#!/bin/sh
case " $* " in
  *" version "*) echo "git version 2.37.1"; exit 0 ;;
  *" merge-tree "*) echo "usage: git merge-tree <base> <one> <other>" >&2; exit 129 ;;
esac
exec {git} "$@"
"""


def test_a_git_that_cannot_merge_by_itself(works: Works, tmp_path: Path) -> None:
    (tmp_path / "git").write_text(OLD_GIT.format(git=REAL_GIT))
    (tmp_path / "git").chmod(0o755)
    path = f"{tmp_path}{os.pathsep}{os.environ['PATH']}"
    base, head = works.propose({"README.md": "x\n"}), works.propose(GOOD)
    cannot(process(works, head, PATH=path, base=base), "git 2.37.1 cannot merge them by itself do: merge the base into the proposal first")
    assert process(works, head, PATH=path).status == 0


# --- history that was cut off, and damage ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def chain(tmp_path_factory: pytest.TempPathFactory) -> tuple[Works, str]:
    """A base, three commits on it of which the last is not sound, and another base beside them."""
    works = works_in(tmp_path_factory.mktemp("chain") / "works")
    one = works.propose({"README.md": "1\n"}, day=1)
    two = works.propose({"README.md": "2\n"}, one, day=2)
    return works, works.propose(BAD, two, day=3, name="topic")


@pytest.mark.parametrize("depth", [1, 2, 3])
def test_a_shallow_clone_has_no_answer(chain: tuple[Works, str], tmp_path: Path, depth: int) -> None:
    works, head = chain
    works.repo.git("clone", "-q", f"--depth={depth}", "--branch=topic", f"file://{works.repo}", str(tmp_path / "clone"))
    clone = Works(Repo(tmp_path / "clone"), works.base, works.texts)
    cannot(clone.gate(head), "shallow")
    clone.repo.git("fetch", "-q", "--depth=1", "origin", "main")
    cannot(clone.gate(head), "git fetch --unshallow")
    clone.repo.git("fetch", "-q", "--unshallow", "origin", "main")
    assert FULL in clone.gate(head).said


def test_a_clone_without_its_files_has_no_answer(chain: tuple[Works, str], tmp_path: Path) -> None:
    works, head = chain
    works.repo.git("config", "uploadpack.allowFilter", "true")
    works.repo.git("clone", "-q", "--filter=blob:none", "--no-checkout", f"file://{works.repo}", str(tmp_path / "clone"))
    cannot(Works(Repo(tmp_path / "clone"), works.base, works.texts).gate(head), "clone without it")


OBJECTS = {
    "head": "{head}", "base": "{base}", "tree of the head": "{head}^{{tree}}", "tree of the base": "{base}^{{tree}}",
    "formulas of the head": "{head}:formulas", "settings": "{base}:formulint.toml", "house rules": "{base}:rules/house.toml",
    "the formula": "{head}:formulas/T-101.toml", "the formula as it was": "{base}:formulas/T-101.toml", "a material": "{head}:materials/RM-1301.toml",
}  # fmt: skip


@pytest.mark.parametrize("broken", [False, True], ids=["missing", "broken"])
@pytest.mark.parametrize("what", OBJECTS.values(), ids=OBJECTS.keys())
def test_what_cannot_be_read_is_no_yes(own: Works, what: str, broken: bool) -> None:
    head = own.propose(GOOD)
    oid = own.repo.git("rev-parse", what.format(head=head, base=own.base))
    path = own.repo.path / ".git" / "objects" / oid[:2] / oid[2:]
    path.unlink()
    if broken:
        path.write_bytes(zlib.compress(b"blob 3\0")[:-6])
    cannot(own.gate(head), "")


# --- what lies in .git, and what stands in the environment -------------------------------------------------------


def test_no_replacement_is_believed(own: Works) -> None:
    good, bad = own.propose(GOOD), own.propose(BAD)
    own.repo.git("replace", bad, good)
    for name in (FLAT, "formulas"):
        own.repo.git("replace", "-f", f"{bad}:{name}", f"{good}:{name}")
    assert FULL in own.gate(bad).said


def test_no_graft_is_believed(own: Works) -> None:
    head = own.propose(GOOD)
    (own.repo.path / ".git" / "info").mkdir(exist_ok=True)
    (own.repo.path / ".git" / "info" / "grafts").write_text(f"{own.base} {head}\n")
    assert own.gate(head).status == 0
    (own.repo.path / ".git" / "info" / "grafts").write_text(f"{head}\n")
    assert json.loads(own.gate(head).out)["merged"] is False


def forged_graph(repo: Repo, child: str, parent: str) -> None:
    """A commit-graph that says of one commit that another is its parent; the rest of it is git's own."""
    repo.git("commit-graph", "write", "--reachable")
    path = repo.path / ".git" / "objects" / "info" / "commit-graph"
    raw = bytearray(path.read_bytes())
    chunks = {bytes(raw[at : at + 4]): int.from_bytes(raw[at + 4 : at + 12], "big") for at in range(8, 8 + 12 * raw[6], 12)}
    ids = [raw[at : at + 20].hex() for at in range(chunks[b"OIDL"], chunks[b"CDAT"], 20)]
    at = chunks[b"CDAT"] + 36 * ids.index(child) + 20
    raw[at : at + 4] = ids.index(parent).to_bytes(4, "big")
    path.chmod(0o644)
    path.write_bytes(bytes(raw[:-20]) + hashlib.sha1(raw[:-20]).digest())


def test_no_forged_graph_of_commits_is_believed(own: Works) -> None:
    base, middle = own.propose(GLYCOL), own.propose(COALESCENT, day=2)  # later, so that it may be a child
    head = own.propose({"README.md": "x\n"}, middle, day=3)  # of the tip itself git reads the object
    forged_graph(own.repo, middle, base)
    own.repo.git("merge-base", "--is-ancestor", base, head)  # git believes it
    answer = own.gate(head, base=base)
    assert (answer.status, json.loads(answer.out)["merged"]) == (1, True)
    assert "voc/us-south-coast: formulas/T-120.toml" in answer.said


INDEXES = {"graph of commits": ("commit-graph write --reachable", "info/commit-graph"), "index of packs": ("multi-pack-index write", "pack/multi-pack-index")}


@pytest.mark.parametrize("kept", [0, 8, 40, 1100], ids=["empty", "its head", "its contents", "half"])
@pytest.mark.parametrize(("command", "name"), INDEXES.values(), ids=INDEXES.keys())
def test_no_damaged_index_is_believed(own: Works, command: str, name: str, kept: int) -> None:
    good, bad = own.propose(GOOD), own.propose(BAD)
    own.repo.git("repack", "-q", "-a", "-d")
    own.repo.git(*command.split())
    path = own.repo.path / ".git" / "objects" / name
    path.chmod(0o644)
    path.write_bytes(path.read_bytes()[:kept] + b"\xff" * 2000)
    assert [own.gate(head).status for head in (good, bad)] == [0, 1]


def test_objects_may_lie_in_another_store(own: Works, tmp_path: Path) -> None:
    good, bad = own.propose(GOOD), own.propose(BAD)
    own.repo.git("clone", "-q", "--shared", "--no-checkout", ".", str(tmp_path / "clone"))
    clone = Works(Repo(tmp_path / "clone"), own.base, own.texts)
    assert [clone.gate(head).status for head in (good, bad)] == [0, 1]
    (own.repo.path / ".git" / "objects").rename(tmp_path / "gone")
    assert [clone.gate(head).status for head in (good, bad)] == [2, 2]


HOSTILE = (
    "core.fsmonitor", "core.sshCommand", "core.askPass", "core.pager", "core.editor", "core.alternateRefsCommand", "diff.external", "gpg.program",
    "gpg.ssh.program", "diff.toml.textconv", "filter.toml.clean", "filter.toml.smudge", "filter.toml.process", "merge.toml.driver", "alias.rev-parse",
    "remote.origin.uploadpack", "credential.helper", "trace2.eventTarget", "uploadpack.packObjectsHook",
)  # fmt: skip


def test_nothing_that_the_settings_of_git_name_runs(own: Works, tmp_path: Path) -> None:
    base, head = own.propose({"README.md": "x\n"}), own.propose(GOOD)
    script, ran = tmp_path / "script", tmp_path / "ran"
    script.write_text(f"#!/bin/sh\ntouch {ran}\ncat\n")
    script.chmod(0o755)
    for key in HOSTILE:
        own.repo.git("config", key, str(script))
    for name in ("post-checkout", "reference-transaction", "post-index-change", "pre-merge-commit", "post-merge", "pre-auto-gc"):
        own.repo.hook(name, script.read_text())
    (own.repo.path / ".git" / "info").mkdir(exist_ok=True)
    (own.repo.path / ".git" / "info" / "attributes").write_text("*.toml diff=toml filter=toml merge=toml\n")
    assert [own.gate(head, base=one).status for one in (own.base, base)] == [0, 0]
    assert not ran.exists()


@pytest.mark.parametrize("bare", ["true", "false"])
def test_a_repository_that_says_where_its_work_tree_is(own: Works, bare: str) -> None:
    own.repo.git("config", "core.worktree", str(own.repo))
    base, head = own.propose(GLYCOL), own.propose(COALESCENT)
    own.repo.git("config", "core.bare", bare)
    assert "voc/us-south-coast" in own.gate(head, base=base).said


def test_no_surroundings_change_the_answer(works: Works, tmp_path: Path) -> None:
    other = works_in(tmp_path / "other", {SETTINGS: "format = 1\n"})
    git = str(other.repo.path / ".git")
    elsewhere = {"GIT_DIR": git, "GIT_COMMON_DIR": git, "GIT_WORK_TREE": str(other.repo), "GIT_INDEX_FILE": f"{git}/index"}
    stores = {"GIT_OBJECT_DIRECTORY": f"{git}/objects", "GIT_ALTERNATE_OBJECT_DIRECTORIES": f"{git}/objects", "GIT_NAMESPACE": "x"}
    files = {"GIT_GRAFT_FILE": f"{git}/HEAD", "GIT_SHALLOW_FILE": f"{git}/HEAD", "GIT_REPLACE_REF_BASE": "refs/heads/", "GIT_ATTR_SOURCE": "main"}
    outside = {"GIT_CONFIG_PARAMETERS": "'core.bare=true'", "GIT_EXEC_PATH": str(tmp_path), "GIT_EXTERNAL_DIFF": "false", "GIT_LITERAL_PATHSPECS": "0"}
    bad = process(works, works.propose(BAD), more=elsewhere | stores | files | outside)
    assert (bad.status, FULL in bad.said) == (1, True)
    assert process(works, works.propose(GOOD), more=elsewhere | stores | files | outside).status == 0


def test_no_git_of_the_proposal_is_called(own: Works) -> None:
    own.repo.write({"git": "#!/bin/sh\ntouch ran\n"})
    (own.repo.path / "git").chmod(0o755)
    assert process(own, own.propose(BAD), PATH=f".:{os.environ['PATH']}", cwd=str(own.repo)).status == 1
    assert not (own.repo.path / "ran").exists()


def test_whoever_stops_reading_gets_no_yes(works: Works) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    assert process(works, works.propose(GOOD), stdout=writer).status == 2
    os.close(writer)


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="there is no disk that is always full")
def test_a_full_disk_is_no_yes(works: Works) -> None:
    with open("/dev/full", "wb") as full:
        assert process(works, works.propose(GOOD), stdout=full.fileno()).status == 2


CLOSED = {"output": ">&-", "output and complaints": ">&- 2>&-", "everything": "0<&- >&- 2>&-", "input too": "0<&- >&-", "output, opened to be read": "1</dev/null"}


@pytest.mark.parametrize("edits", [GOOD, BAD], ids=["sound", "unsound"])
@pytest.mark.parametrize("closed", CLOSED.values(), ids=CLOSED.keys())
def test_no_report_no_yes(works: Works, tmp_path: Path, closed: str, edits: Edits) -> None:
    head, kept = works.propose(edits), tmp_path / "verdict.json"
    call = f'"{sys.executable}" -m formulint -C "{works.repo}" gate --base {works.base} --head {head} --format json'
    told = [subprocess.run(f"{call} {more} {closed}", shell=True, check=False).returncode for more in ("", f'--output "{kept}"')]
    assert told == [2, 1 if edits is BAD else 0]
    assert json.loads(kept.read_text())["verdict"] == ("fail" if edits is BAD else "pass")


def test_an_answer_that_cannot_be_kept_is_none(works: Works, tmp_path: Path) -> None:
    assert works.gate(works.propose(GOOD), "--output", str(tmp_path / "none" / "x")).status == 2


# --- dates -------------------------------------------------------------------------------------------------------

ENDING = {HOUSE: replace('id = "cmit-mit"', 'id = "cmit-mit"\nuntil = 2026-06-30')(TEXTS[HOUSE])}


def test_the_day_is_the_later_of_both(works: Works) -> None:
    for day, said in ((0, "2026-01-12"), (5, "2026-01-17")):
        answer = works.gate(works.propose(GOOD, day=day))
        assert (answer.status, json.loads(answer.out)["date"]) == (0, said)


def test_a_proposal_older_than_its_base(works: Works) -> None:
    answer = works.gate(works.propose(GOOD, day=-1))
    assert (answer.status, json.loads(answer.out)["date"]) == (1, "2026-01-12")
    assert "the proposal is dated 2026-01-11, its base 2026-01-12" in answer.said
    assert works.gate(works.propose(GOOD, day=-1), "--today", "2026-01-12").status == 0


def test_a_proposal_from_the_future_does_not_outlive_a_rule(tmp_path: Path) -> None:
    works = works_in(tmp_path / "works", {**TEXTS, **ENDING})
    edits: Edits = {MATT: both(*STEPS["11"].edits["T-301"])}
    answer = works.gate(works.propose(edits, day=40000))
    assert answer.status == 1
    assert "a day that is yet to come" in answer.said
    assert "house/cmit-mit" in works.gate(works.propose(edits, day=40000), "--today", "2026-06-30").said


def test_a_date_that_nobody_can_read(works: Works) -> None:
    answer = works.gate(works.propose(GOOD, day=10**13))
    assert answer.status in (1, 2)


# --- policy of the base, roots, first adoption -------------------------------------------------------------------

BASES = {
    "no TOML": ({SETTINGS: "format = 1\nformat = 1\n"}, "formulint.toml, line 2: "),
    "a key that does not exist": ({SETTINGS: "format = 1\nhush = true\n"}, "formulint.toml, line 2: "),
    "a newer tool": ({SETTINGS: replace('">=0.1"', '">=99.0"')(TEXTS[SETTINGS])}, "the settings ask for formulint >=99.0"),
    "another pack": ({SETTINGS: replace('voc       = "2026.1"', 'voc       = "2031.1"')(TEXTS[SETTINGS])}, "the settings ask for voc 2031.1"),
    "an unsafe rule lowered": ({SETTINGS: 'format = 1\n[[rule_setting]]\nrule = "unsafe/x"\nlevel = "note"\nreason = "x"\n'}, "cannot be given another level"),
    "a folder that matches nothing": ({SETTINGS: 'format = 1\n[folders]\nformulas = "formulas/"\n'}, "does not lie plainly below the root"),
    "a rule that is no TOML": ({HOUSE: "[[rule"}, "rules/house.toml, line 1: "),
    "a rule with a key too many": ({HOUSE: replace('id = "bit"', 'id = "bit"\nhush = true')(TEXTS[HOUSE])}, "rules/house.toml, line "),
    "a rule twice": ({"rules/again.toml": TEXTS[HOUSE]}, "two rules of the house are called"),
    "a rule about nothing": ({HOUSE: replace('["polyacid"]', '["polyacrid"]')(TEXTS[HOUSE])}, 'there is no tag "polyacrid"'),
    "rules in a link": ({HOUSE: Link("../README.md")}, '"rules/house.toml" is a symbolic link'),
}


@pytest.mark.parametrize(("edits", "words"), BASES.values(), ids=BASES.keys())
def test_a_policy_that_cannot_be_applied_judges_nothing(works: Works, edits: Edits, words: str) -> None:
    base = works.propose(edits)
    answer = works.gate(works.propose(GOOD, base, day=2), base=base)
    cannot(answer, "the policy of the base cannot be applied")
    assert words in answer.said


def test_what_cannot_be_read_on_the_base_is_not_taken_for_unchanged(works: Works) -> None:
    for name, code in ((FLAT, "T-101"), (LATEX, "RM-1301")):
        base = works.propose({name: "[["})
        answer = works.gate(works.propose({name: TEXTS[name]}, base, day=2), base=base)
        assert answer.status == 1
        assert f"{code} cannot be read on the base" in answer.said


@pytest.mark.parametrize("written", ["who.signers", "./who.signers", "keys/../who.signers"])
def test_who_may_sign_is_policy(works: Works, written: str) -> None:
    base = works.propose({SETTINGS: lambda text: f'signers = "{written}"\n{text}', "who.signers": "a x\n"})
    answer = works.gate(works.propose({"who.signers": "me x\n"}, base, day=2), base=base)
    assert answer.status == 1
    assert "who.signers is changed" in answer.said


ROOTS = {
    "root taken away": ("paint/", "", {"paint/formulint.toml": None}, "takes \"paint/formulint.toml\" away"),
    "root moved": ("paint/", "", {"paint/formulint.toml": None, "new/formulint.toml": "format = 1\n"}, "away, which marks the root"),
    "root above": ("paint/", "", {"formulint.toml": "format = 1\n"}, 'moves the root from "paint/" to "."'),
    "a second root": ("paint/", "", {"other/formulint.toml": "format = 1\n"}, "there are several formula repositories"),
    "root below where we stand": ("", "formulas", {"formulas/formulint.toml": "format = 1\n"}, 'moves the root from "." to "formulas/"'),
    "root in a link": ("", "", {"formulint.toml": Link("x")}, "is not a regular file"),
}


@pytest.mark.parametrize(("root", "folder", "edits", "words"), ROOTS.values(), ids=ROOTS.keys())
def test_the_root_is_that_of_the_base(tmp_path: Path, root: str, folder: str, edits: Edits, words: str) -> None:
    works = works_in(tmp_path / "works", root=root)
    cannot(works.gate(works.propose(edits), folder=folder), words)


def test_policy_above_a_root_in_a_folder(tmp_path: Path) -> None:
    works = works_in(tmp_path / "works", root="paint/")
    base = works.propose({"paint/README.md": "x\n"})
    for edits in ({CI: "name: nothing\n"}, {"docs/.gitattributes": "x"}, {"formulint.toml": "format = 1\n"}):
        head = works.propose(edits)
        assert [works.gate(head, folder="paint", base=one).status for one in (works.base, base)] == [1, 1]
    assert works.gate(works.propose({"docs/x.toml": "x\n", "other/formulint.toml": "format = 1\n"}), folder="paint").status == 0


ADOPTIONS: dict[str, tuple[dict[str, str], str, Edits, str]] = {
    "all at once": ({"README.md": "x\n"}, "", {}, "first adoption"),
    "with a fault": ({"README.md": "x\n"}, "", {FLAT: FILLED(TEXTS[FLAT])}, FULL),
    "in a folder, beside another root": ({"other/formulint.toml": "format = 1\n"}, "paint/", {}, "first adoption"),
}


@pytest.mark.parametrize(("base", "root", "edits", "words"), ADOPTIONS.values(), ids=ADOPTIONS.keys())
def test_a_first_adoption_is_read_by_somebody(tmp_path: Path, base: dict[str, str], root: str, edits: Edits, words: str) -> None:
    works = works_in(tmp_path / "works", {**base, "paint/x": "x\n"})
    answer = works.gate(works.propose({**TEXTS, **edits}, root=root), folder=root)
    assert answer.status == 1
    assert words in answer.said
    assert "proposal/first-adoption" in answer.said


def test_settings_on_neither_side(tmp_path: Path) -> None:
    works = works_in(tmp_path / "works", {"README.md": "x\n"})
    cannot(works.gate(works.propose({"README.md": "y\n"})), "there is no formulint.toml")

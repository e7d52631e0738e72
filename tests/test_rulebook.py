"""The shipped packs as they are loaded: packed freshly, read again where they are not, and only those in use."""

from __future__ import annotations

import shutil
import zlib
from datetime import date
from pathlib import Path

import msgspec
import pytest
import tomli
from in_memory import shipped
from lint_cases import Case, cases, disagreements

from formulint import packing
from formulint.errors import UserError
from formulint.kinds.dose import Dose
from formulint.packing import COMPILED, Compiled, folder, pack_all, read_compiled, source, toml_names
from formulint.rulebook import Rulebook, Shipped

RULES = Path(__file__).parent.parent / "rules"
DAY = date(2026, 1, 12)


@pytest.fixture
def copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the packs from which ``Shipped`` reads."""
    shipped()  # the real ones, kept for all tests, are found before the copy is
    root = tmp_path / "rules"
    shutil.copytree(RULES, root)
    monkeypatch.setattr("formulint.rulebook.folder", lambda: str(root))
    return root


def edit(path: Path, old: str, new: str) -> None:
    """Replace one text of a file."""
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, old
    path.write_text(text.replace(old, new), encoding="utf-8")


def bound(packs: Shipped, part: str, id: str) -> object:
    """The upper bound of a shipped rule."""
    rule = next(entry.rule for entry in packs.rules(part) if entry.id == id)
    assert isinstance(rule, Dose)
    return rule.max


# ---------------------------------------------------------------- packed


def test_the_packed_file_is_what_the_tables_say() -> None:
    assert (RULES / COMPILED).read_bytes() == pack_all(str(RULES)), "run python -m formulint.packing"


def test_packing_writes_the_same_bytes_wherever_the_packs_lie(copy: Path) -> None:
    assert pack_all(str(copy)) == (RULES / COMPILED).read_bytes()


def test_every_part_says_which_bytes_it_was_made_from() -> None:
    from hashlib import sha256

    packed = read_compiled(str(RULES))
    assert packed is not None and list(packed.parts) == sorted(toml_names(str(RULES)))
    for name, part in packed.parts.items():
        raw = source(str(RULES), name)
        assert (part.crc, part.sha256) == (zlib.crc32(raw), sha256(raw).hexdigest()), name


def test_a_package_carries_the_packs_inside_and_a_checkout_beside() -> None:
    assert Path(folder()) in (RULES, RULES.parent / "formulint" / "rules")


def test_the_packer_writes_where_the_packs_are(copy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packing, "folder", lambda: str(copy))
    (copy / COMPILED).unlink()
    assert packing.main() == 0
    assert (copy / COMPILED).read_bytes() == (RULES / COMPILED).read_bytes()


# ---------------------------------------------------------------- loaded


def test_a_stale_part_is_read_from_its_table(copy: Path) -> None:
    assert bound(Shipped(), "dose/dose", "dose/glycol-ceiling") == "10 %"
    edit(copy / "dose" / "dose.toml", 'max = "10 %"', 'max = "9 %"')
    assert bound(Shipped(), "dose/dose", "dose/glycol-ceiling") == "9 %"


def test_a_stale_part_is_judged_by_its_table(copy: Path) -> None:
    edit(copy / "dose" / "dose.toml", 'max = "10 %"', 'max = "9 %"')
    case = next(case for case in cases("dose.toml") if case.name == "glycol, at")
    assert disagreements(case) == []
    assert "above the limit of 9 %" in "".join(disagreements(case, Shipped()))


@pytest.mark.parametrize("damage", [b"", b"{", b'{"versions": {}}', b"\xff\xfe", b'{"versions":{},"parts":{"x":1}}'])
def test_a_damaged_packed_file_is_done_without(copy: Path, damage: bytes) -> None:
    (copy / COMPILED).write_bytes(damage)
    packs = Shipped()
    assert packs.compiled is None
    assert bound(packs, "dose/dose", "dose/glycol-ceiling") == "10 %"
    written = [tomli.loads(path.read_text(encoding="utf-8")) for path in RULES.glob("*/pack.toml")]
    assert packs.versions() == {pack["id"]: pack["version"] for pack in written}


def test_a_missing_packed_file_is_done_without(copy: Path) -> None:
    (copy / COMPILED).unlink()
    packs = Shipped()
    assert packs.has_market("eu") and not packs.has_market("mars")
    assert [entry.id for entry in packs.rules("voc/eu")] == ["voc/eu"]


def test_a_file_that_is_not_packed_yet_is_read(copy: Path) -> None:
    text = (copy / "closure" / "closure.toml").read_text(encoding="utf-8")
    (copy / "closure" / "more.toml").write_text(text.replace('id = "batch"', 'id = "again"'), encoding="utf-8")
    packs = Shipped()
    assert "closure/more" in packs.general()
    assert "closure/again" in {entry.id for entry in Rulebook(packs, (), DAY).all()}


def test_a_shipped_file_that_is_gone_is_an_answer_of_its_own(copy: Path) -> None:
    (copy / "voc" / "eu.toml").unlink()
    with pytest.raises(UserError, match="the shipped rules lack voc/eu"):
        Shipped().rules("voc/eu")


@pytest.mark.parametrize("damage", ["[[rule]\n", 'id = "x"\n[[rule]]\nid = "x"\n', '[[rule]]\nkind = "nonsense"\n'])
def test_a_damaged_shipped_table_is_an_answer_of_its_own(copy: Path, damage: str) -> None:
    (copy / "closure" / "closure.toml").write_text(damage, encoding="utf-8")
    with pytest.raises(UserError) as error:
        Shipped().rules("closure/closure")
    assert "closure/closure" in error.value.message and error.value.remedy == "install formulint again"


# ---------------------------------------------------------------- only what is used


class Watched(Shipped):
    """Packs that remember which parts were decoded."""

    def __init__(self) -> None:
        super().__init__()
        self.decoded: list[str] = []

    def part(self, name: str) -> bytes:
        self.decoded.append(name)
        return super().part(name)


def test_only_the_markets_of_a_formula_are_decoded() -> None:
    packs = Watched()
    case = next(case for case in cases("voc.toml") if case.name == "us-utah, Stains, at")
    assert disagreements(case, packs) == []
    markets = {name for name in packs.decoded if name.startswith("voc/")}
    assert markets == {"voc/us-utah", "voc/exempt"}


def test_a_part_is_decoded_once() -> None:
    packs = Watched()
    for case in cases("dose.toml")[:3]:
        disagreements(case, packs)
    assert packs.decoded.count("dose/dose") == packs.decoded.count("order/order") == 1


# ---------------------------------------------------------------- in force


def in_force(day: date, **dates: date) -> bool:
    """Whether a rule with these dates is in force on a day."""
    entry = next(entry for entry in Shipped().rules("closure/closure") if entry.id == "closure/batch")
    rule = msgspec.structs.replace(entry.rule, **dates)
    book = Rulebook(Shipped(), (msgspec.structs.replace(entry, id="house/batch", rule=rule),), day)
    return "house/batch" in {one.id for one in book.in_force(["eu"])}


def test_first_and_last_day_count() -> None:
    first, last = date(2026, 1, 1), date(2026, 1, 31)
    days = [date(2025, 12, 31), first, last, date(2026, 2, 1)]
    assert [in_force(day, from_=first, until=last) for day in days] == [False, True, True, False]
    assert [in_force(day, from_=first) for day in days] == [False, True, True, True]
    assert [in_force(day, until=last) for day in days] == [True, True, True, False]
    assert all(in_force(day) for day in days)


def test_a_market_counts_once_and_an_unknown_one_not_at_all() -> None:
    book = Rulebook(Shipped(), (), DAY)
    ids = [entry.id for entry in book.in_force(["eu", "eu", "mars", "exempt", "pack"])]
    assert [id for id in ids if id.startswith("voc/")] == ["voc/eu"]


def judged_on(day: date) -> Case:
    """The case of the European flat paint at its old limit, judged on another day."""
    old = next(case for case in cases("voc.toml") if case.name == "eu, A/a WB until 2009-12-31, at")
    return msgspec.structs.replace(old, date=day)


def test_a_limit_ends_with_its_last_day() -> None:
    assert disagreements(judged_on(date(2009, 12, 31))) == []
    assert "above the limit of 30 g/L" in disagreements(judged_on(date(2010, 1, 1)))[0]


def test_a_compound_is_exempt_from_its_first_day() -> None:
    days = (date(2014, 6, 24), date(2014, 6, 25))
    assert ["124-68-5" in Shipped().exempt("us", day) for day in days] == [False, True]
    assert Shipped().exempt("eu", DAY) == frozenset()


def test_packed_bytes_decode_as_they_are_declared() -> None:
    assert msgspec.json.decode(pack_all(str(RULES)), type=Compiled).versions["voc"] == "2026.1"

"""The release before a revision, from which on it is asked who wrote what: only one that somebody approved who had not written it.

A record says by its commit whose changes the next approver need not have left to others. So it counts for that only
where it is proved itself, as far as this goes; what somebody wrote by hand makes nobody innocent.
"""

from __future__ import annotations

from formulint import approval, recorded
from formulint.ancestry import behind
from formulint.approval import What
from formulint.catalog import Catalog
from formulint.errors import UserError
from formulint.fingerprints import Digests, digests
from formulint.git import Repository
from formulint.released import ReleaseRecord
from formulint.snapshot import at


class Forerunners:
    """The releases on record in one state that a later revision may be built upon.

    Parameters
    ----------
    repository : Repository
    catalog : Catalog
        The state whose records are read.
    """

    def __init__(self, repository: Repository, catalog: Catalog) -> None:
        self._repository = repository
        self._catalog = catalog
        self._known: dict[str, dict[int, str]] = {}

    def before(self, code: str, revision: int, commit: str) -> str | None:
        """The commit (full id) of the last release before a revision that lies behind ``commit`` and counts; None where none does.

        Raises
        ------
        UserError
            Where something that a record rests on is not in this clone.
        """
        return self._last(self._counting(code), code, revision, commit)

    def _last(self, known: dict[int, str], code: str, revision: int, commit: str) -> str | None:
        earlier = sorted((number for number in known if number < revision), reverse=True)
        return next((known[number] for number in earlier if known[number] != commit and behind(self._repository, known[number], commit)), None)

    def _counting(self, code: str) -> dict[int, str]:
        """Commits of the releases of a formula that count, by revision."""
        if code not in self._known:
            found: dict[int, str] = {}
            for number, name in recorded.of_formula(self._catalog, code).items():
                record, words = recorded.whole(self._catalog, name)
                if record is not None and not words and self._approved(record, found):
                    found[number] = record.commit
            self._known[code] = found
        return self._known[code]

    def _approved(self, record: ReleaseRecord, earlier: dict[int, str]) -> bool:
        """True where the commit of a record holds what it says, and those who approved that had not written it."""
        repository = self._repository
        try:
            state = at(repository, repository.resolve(record.commit), record.released_on)
            catalog = Catalog(state, self._catalog.shipped, record.released_on)
            sheet, trust = catalog.sheet(record.formula), approval.trust_of(catalog)
            if sheet is None or sheet.revision != record.revision or not trust.asked or state.root != record.root:
                return False
            seals, blends = digests(catalog, sheet)
            if seals != Digests(record.digest.composition, record.digest.making, record.digest.data):
                return False
            since = self._last(earlier, record.formula, record.revision, record.commit)
            wrote = approval.authors(repository, state.root, (record.formula, *sorted(blends)), (record.commit,), since, trust)
            offers = approval.objects(repository, record.approval)
        except UserError as error:
            raise UserError(f"{record.code}, the release before: {error.message}", error.remedy) from None
        what = What(record.formula, record.revision, seals)
        return bool(approval.judged(repository, offers, what, trust, wrote, record.released_on).given)

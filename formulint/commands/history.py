"""``formulint history``: what a formula came to, commit by commit, and who crossed a limit."""

from __future__ import annotations

from types import SimpleNamespace

from formulint import git, snapshot
from formulint.catalog import Catalog
from formulint.commands.states import TABLES, TODAY, opened, put, shown
from formulint.errors import UserError
from formulint.history import Asked, History, history, known_rules
from formulint.options import Option
from formulint.properties import BY_ID, DOSE_BY_ID, dimension_of
from formulint.rulebook import Shipped
from formulint.settings_check import hint
from formulint.suggest import closest

OPTIONS = (
    Option("what", "the code of a formula", "CODE"),
    Option("revision", "up to this commit, branch or tag (default: HEAD)", "REV", default="HEAD"),
    Option("--property", "a property, such as voc_less_water or cost_volume", "ID", group="asked"),
    Option("--rule", "a rule: when it began or ceased to speak", "RULE", group="asked"),
    TODAY,
    *TABLES,
)
FAMILIES = ("record/", "own-limit/")


def run(options: SimpleNamespace) -> int:
    """Follow and show; 0 where that could be done."""
    if not options.what:
        raise UserError("history asks which formula is meant", "name one: formulint history T-101 --property density")
    asked = Asked(_property(options.property), options.rule or "")
    repository = git.require(options.folder)
    if repository.head is None and options.revision == "HEAD":
        raise UserError("nothing has been committed yet", "make the first commit")
    shipped = Shipped()
    catalog = opened(snapshot.at(repository, options.revision, options.today), shipped)
    found = history(catalog.snapshot, shipped, options.what, asked, options.today)
    _known(catalog, found)
    if options.format == "json":
        from formulint.history_report import data
        from formulint.render import json_report

        put(options, json_report.dumps(data(catalog, found)))
    else:
        from formulint.history_report import report

        put(options, shown(options, report(catalog, found), catalog.snapshot.root))
    catalog.snapshot.close()
    return 0


def _property(name: str | None) -> str:
    """The property that was asked for."""
    if name is None:
        return ""
    if dimension_of(name) is None:
        raise UserError(f'there is no property "{name}"', _meant(name))
    return name


def _meant(name: str) -> str:
    """Which property may have been meant: the nearest one, or all those of which the name says a part, such as ``VOC``."""
    known = [*BY_ID, *DOSE_BY_ID]
    part = name.strip().lower().replace(" ", "_").replace("-", "_")
    alike = [one for one in known if part and f"_{part}_" in f"_{one}_"]
    if len(alike) > 1:
        return f"did you mean {', '.join(alike[:-1])} or {alike[-1]}?"
    near = alike[0] if alike else closest(name, known)
    return f"did you mean {near}?" if near else "there are density, pvc, voc_less_water, cost_volume and more: formulint properties T-101 --format json lists them"


def _known(catalog: Catalog, found: History) -> None:
    """Refuse a formula that no commit holds, and a rule that is nowhere and never spoke."""
    if not found.points and not found.cut:
        codes = [name.rpartition("/")[2].removesuffix(".toml") for name in catalog.formula_files()]
        near = closest(found.code, codes)
        raise UserError(f'no commit up to {catalog.snapshot.label} holds a formula "{found.code}"', f"did you mean {near}?" if near else "name a code, such as T-101")
    rule = found.asked.rule
    if rule and not rule.startswith(FAMILIES) and not found.crossings and rule not in (known := known_rules(catalog)):
        raise UserError(f'there is no rule "{rule}"', hint(rule, sorted(known)))

"""The shipped packs: read from TOML, packed into one file that loads fast, and checked to be what the TOML says.

``rules/compiled.json`` is written by ``python -m formulint.packing``. Each of its parts carries the CRC-32 of the TOML
it was made from (is it stale?) and the SHA-256 (which figures were these?); a stale part is read from its TOML instead.
"""

import os
import zlib
from collections.abc import Callable
from typing import Any, TypeVar

import msgspec
from msgspec import Struct

from formulint.document import load
from formulint.errors import UserError

COMPILED = "compiled.json"
Table = dict[str, Any]

T = TypeVar("T")


class Part(Struct, frozen=True):
    """One file of a pack: its tables as JSON, and the marks of the TOML that they were made from."""

    crc: int
    sha256: str
    tables: msgspec.Raw


class Compiled(Struct, frozen=True):
    """All shipped packs: version by pack, parts by ``pack/file``."""

    versions: dict[str, str]
    parts: dict[str, Part]


def folder() -> str:
    """Where the packs lie: inside the installed package, else beside it in a checkout."""
    here = os.path.dirname(os.path.abspath(__file__))
    inside = os.path.join(here, "rules")
    return inside if os.path.isdir(inside) else os.path.join(os.path.dirname(here), "rules")


def toml_names(root: str) -> list[str]:
    """``pack/file`` of every TOML file of the shipped packs, sorted."""
    found = []
    for pack in sorted(os.listdir(root)):
        if os.path.isdir(os.path.join(root, pack)):
            found += [f"{pack}/{name[:-5]}" for name in sorted(os.listdir(os.path.join(root, pack))) if name.endswith(".toml")]
    return [*found, *(name[:-5] for name in sorted(os.listdir(root)) if name.endswith(".toml"))]


def source(root: str, name: str) -> bytes:
    """The TOML of one part."""
    with open(os.path.join(root, f"{name}.toml"), "rb") as handle:
        return handle.read()


def tables(name: str, raw: bytes) -> Table:
    """The tables of one shipped TOML file.

    Raises
    ------
    UserError
        Where a shipped file is damaged: nothing can be judged then.
    """
    document, faults = load(f"rules/{name}.toml", raw)
    if document is None:
        raise UserError(f"the shipped rules are damaged: {faults[0].message} (rules/{name}.toml)", "install formulint again")
    return document.data


def pack_all(root: str) -> bytes:
    """The compiled file for the packs below ``root``."""
    from hashlib import sha256

    parts: dict[str, Table] = {}
    versions: dict[str, str] = {}
    for name in toml_names(root):
        raw = source(root, name)
        content = tables(name, raw)
        if name.endswith("/pack"):
            versions[str(content["id"])] = str(content["version"])
        parts[name] = {"crc": zlib.crc32(raw), "sha256": sha256(raw).hexdigest(), "tables": content}
    lines = [f"{msgspec.json.encode(name).decode()}:{msgspec.json.encode(part).decode()}" for name, part in sorted(parts.items())]
    return f'{{"versions":{msgspec.json.encode(versions, order="sorted").decode()},"parts":{{\n'.encode() + ",\n".join(lines).encode() + b"\n}}\n"


_LAST: dict[tuple[str, int, int], Compiled] = {}
"""The compiled file that was read last, by its folder, date and size: several parts are asked of it in one run."""


def read_compiled(root: str) -> Compiled | None:
    """The compiled file, or None where there is none or it cannot be read."""
    try:
        with open(os.path.join(root, COMPILED), "rb") as handle:
            state = os.fstat(handle.fileno())
            key = root, state.st_mtime_ns, state.st_size
            if key not in _LAST:
                _LAST.clear()
                _LAST[key] = msgspec.json.decode(handle.read(), type=Compiled)
            return _LAST[key]
    except (OSError, msgspec.DecodeError):
        return None


def part(root: str, compiled: Compiled | None, name: str) -> bytes:
    """One part as JSON: from the compiled file if that is fresh, else from its TOML.

    Raises
    ------
    UserError
        Where the part does not exist.
    """
    try:
        raw = source(root, name)
    except OSError:
        raise UserError(f"the shipped rules lack {name}", "install formulint again") from None
    known = None if compiled is None else compiled.parts.get(name)
    if known is not None and known.crc == zlib.crc32(raw):
        return bytes(known.tables)
    return msgspec.json.encode(tables(name, raw))


def shipped(name: str, shape: type[T], dec_hook: Callable[[type, object], object] | None = None) -> T:
    """One part of the shipped rules as a record; figures that are asked for seldom are read so, when somebody asks.

    ``dec_hook`` reads fields whose type reads itself (see ``shape``).
    """
    root = folder()
    return msgspec.json.decode(part(root, read_compiled(root), name), type=shape, dec_hook=dec_hook)


def main() -> int:
    """Write the compiled file."""
    root = folder()
    with open(os.path.join(root, COMPILED), "wb") as handle:
        handle.write(pack_all(root))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

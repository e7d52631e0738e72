"""JSON Schema of the records, for editors: made from the same Structs that read the files."""

from __future__ import annotations

from msgspec import inspect

from formulint.readable import reads_itself

DRAFT = "http://json-schema.org/draft-07/schema#"
_PLAIN: dict[type, dict[str, object]] = {
    inspect.BoolType: {"type": "boolean"},
    inspect.DateType: {"type": "string", "format": "date"},
    inspect.FloatType: {"type": "number"},
}


def draft7(record: type) -> dict[str, object]:
    """JSON Schema of a Struct in the plain keywords of draft 7, which the TOML extensions of editors read."""
    definitions: dict[str, dict[str, object]] = {}
    root = _schema(inspect.type_info(record), definitions)
    top = definitions[record.__name__] if "$ref" in root else root
    return {"$schema": DRAFT, **top, "definitions": definitions}


def _schema(kind: inspect.Type, definitions: dict[str, dict[str, object]]) -> dict[str, object]:
    if isinstance(kind, inspect.Metadata):
        return {**_schema(kind.type, definitions), **(kind.extra_json_schema or {})}
    if isinstance(kind, inspect.UnionType):
        options = [_schema(one, definitions) for one in kind.types if not isinstance(one, inspect.NoneType)]
        return options[0] if len(options) == 1 else {"anyOf": options}
    if isinstance(kind, inspect.StructType):
        return _struct(kind, definitions)
    if isinstance(kind, inspect.CustomType):
        return kind.cls.schema() if reads_itself(kind.cls) else {}
    if isinstance(kind, inspect.LiteralType):
        return {"enum": list(kind.values)}
    if isinstance(kind, inspect.StrType):
        return _given(type="string", minLength=kind.min_length, maxLength=kind.max_length, pattern=kind.pattern)
    if isinstance(kind, inspect.IntType):
        return _given(type="integer", minimum=kind.ge, maximum=kind.le)
    if isinstance(kind, inspect.CollectionType):
        items = _schema(kind.item_type, definitions)
        return _given(type="array", items=items, minItems=kind.min_length, maxItems=kind.max_length)
    if isinstance(kind, inspect.DictType):
        return _mapping(kind, definitions)
    return dict(_PLAIN.get(type(kind), {}))


def _struct(kind: inspect.StructType, definitions: dict[str, dict[str, object]]) -> dict[str, object]:
    name = kind.cls.__name__
    if name not in definitions:
        table: dict[str, object] = {}
        definitions[name] = table
        properties = {field.encode_name: _schema(field.type, definitions) for field in kind.fields}
        required = [field.encode_name for field in kind.fields if field.required]
        if kind.tag_field is not None:
            properties[kind.tag_field] = {"enum": [kind.tag]}
            required.append(kind.tag_field)
        about = (kind.cls.__doc__ or "").strip().split("\n\n")[0].replace("``", '"')
        table |= {"type": "object", "description": " ".join(about.split()), "properties": properties}
        table |= _given(required=required or None, additionalProperties=not kind.forbid_unknown_fields)
    return {"$ref": f"#/definitions/{name}"}


def _mapping(kind: inspect.DictType, definitions: dict[str, dict[str, object]]) -> dict[str, object]:
    values = _schema(kind.value_type, definitions)
    if isinstance(kind.key_type, inspect.LiteralType):
        known = {str(word): values for word in kind.key_type.values}
        return {"type": "object", "properties": known, "additionalProperties": False}
    return _given(
        type="object", additionalProperties=values, minProperties=kind.min_length, maxProperties=kind.max_length
    )


def _given(**keywords: object) -> dict[str, object]:
    """The keywords that have a value."""
    return {word: value for word, value in keywords.items() if value is not None}

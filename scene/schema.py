"""JSON Schema of the set file (draft 2020-12), from which editors complete and check while one types.

It knows each part alone. What needs two parts (names, readings) only `setfile.read` can tell. Units are
checked in the spelling of the manual; `setfile.read` also takes others, such as `MM`.
"""

from __future__ import annotations

from typing import Any

from brimcast.shared.quantity import KINDS

from .models import SetFile
from .models_numbers import Quantity

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema() -> dict[str, Any]:
    """Return the JSON Schema of a set file."""
    about = "A set for brimcast: table, glasses, drinks, props, lamps, flags, cards and the like, camera."
    plain = _tidy(SetFile.model_json_schema(by_alias=True, mode="validation"))
    texts = {text["pattern"]: kind for kind in KINDS if "pattern" in (text := Quantity(kind).json())}
    used: set[str] = set()
    plain = _share_texts(plain, texts, used)
    plain["$defs"] |= {kind: Quantity(kind).json() for kind in sorted(used)}
    return {"$schema": DIALECT, "title": "brimcast set file", **plain, "description": about}


def _tidy(node: Any) -> Any:
    """Return the schema without null, which no key of a set file takes, and without the models' own names."""
    if isinstance(node, list):
        return [_tidy(item) for item in node]
    if not isinstance(node, dict):
        return node
    node = {key: _tidy(item) for key, item in node.items() if key != "default" or item is not None}
    if isinstance(node.get("title"), str):
        del node["title"]
    forms = [form for form in node.get("anyOf", []) if form != {"type": "null"}]
    if len(forms) < len(node.get("anyOf", [])):
        del node["anyOf"]
        # A sole form moves up, but words beside it stay: they say what this key is for.
        node = {**forms[0], **node} if len(forms) == 1 else {**node, "anyOf": forms}
    return node


def _share_texts(node: Any, texts: dict[str, str], used: set[str]) -> Any:
    """Return the schema with the form of each kind of quantity told once, under `$defs`."""
    if isinstance(node, list):
        return [_share_texts(item, texts, used) for item in node]
    if not isinstance(node, dict):
        return node
    kind = texts.get(node.get("pattern")) if isinstance(node.get("pattern"), str) else None
    if kind is None:
        return {key: _share_texts(item, texts, used) for key, item in node.items()}
    used.add(kind)
    own = {key: item for key, item in node.items() if key not in ("type", "pattern", "examples")}
    return {"$ref": f"#/$defs/{kind}", **own}

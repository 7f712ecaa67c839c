"""What the models find wrong, said with the place in the file and in plain words."""

from __future__ import annotations

import re
from collections.abc import Iterator
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from .models_base import Part, listed, nearest, show, tag
from .yamlplaces import Document, Path_

Found = tuple[Path_, str, str]


def model_faults(error: ValidationError, root: type[Part], document: Document) -> Iterator[Found]:
    """Yield path, text and `'key'` or `'value'` (where to point) for every fault that the models found."""
    for line, path, location in _flat(error):
        text = _text(line, root, location)
        at = "key" if line["type"] == "extra_forbidden" else line.get("ctx", {}).get("at", "value")
        yield _written(path, document), text, at


def _flat(error: ValidationError, above: tuple = ()) -> Iterator[tuple[dict[str, Any], Path_, tuple]]:
    """Yield each line with its path in the file and the place that pydantic names."""
    for line in error.errors(include_url=False):
        context, location = line.get("ctx", {}), above + line["loc"]
        if line["type"] == "too_short" and len(line["input"]) >= context["min_length"]:
            continue  # the items are there, but some are wrong, and those have faults of their own
        path = tuple(part for part in location if not str(part).startswith("<"))
        yield line, path + tuple(context.get("below", ())), location
        if context.get("more"):
            yield from _flat(context["more"], location)


def _written(path: Path_, document: Document) -> Path_:
    """Return the path as far as the file goes; one key further where that key is missing."""
    for end in range(len(path)):
        if not isinstance(document.value(path[:end]), dict | list):
            return path[:end]
        if document.value(path[: end + 1]) is None:
            return path[: end + 1]
    return path


def _text(line: dict[str, Any], root: type[Part], location: tuple) -> str:
    context, value = line.get("ctx", {}), line["input"]
    match line["type"]:
        case "setfile":
            return context["text"]
        case "extra_forbidden":
            part = part_at(root, location[:-1])
            allowed = list(keys_of(part)) if part else []
            return f"unknown key{nearest(str(location[-1]), allowed) or ';'} allowed: {listed(allowed)}"
        case "missing":
            part = part_at(root, location[:-1])
            field = keys_of(part).get(location[-1]) if part else None
            return f"missing; write it: {field.description}" if field else "missing"
        case "literal_error":
            words = re.findall(r"'([^']*)'", context["expected"])
            return f"{show(value)} is not known{nearest(str(value), words) or ';'} allowed: {listed(words)}"
        case "model_type" | "model_attributes_type" | "dict_type":
            return f"{show(value)} is not a group of keys; write keys under it, or {{}} for none"
        case "bool_type":
            return f"{show(value)} is not allowed; write true or false"
        case "string_type":
            return f"{show(value)} is not a text; put quotes round it"
        case "tuple_type" | "list_type":
            return f"{show(value)} is not a list; write it with [ and ]"
        case "too_short":
            return f"has {context['actual_length']} of the {context['min_length']} that it needs at least"
        case "too_long" | "string_too_long":
            return f"is too long; at most {context['max_length']} are allowed"
    return line["msg"]


def part_at(root: type[Part], location: tuple) -> type[Part] | None:
    """Return the model at a place that pydantic names, None where there is none."""
    forms = {tag(part): part for part in _all_parts(Part)}
    current: Any = root
    for step in location:
        if str(step).startswith("<"):
            current = forms.get(step)
        elif get_origin(current) is dict:
            current = get_args(current)[1]
        elif isinstance(current, type) and issubclass(current, Part):
            field = keys_of(current).get(step)
            current = _bare(field.annotation) if field else None
        else:
            return None
    return current if isinstance(current, type) and issubclass(current, Part) else None


def keys_of(part: type[Part]) -> dict[str, FieldInfo]:
    """Return the fields of a part by their keys in the set file."""
    return {field.alias or name: field for name, field in part.model_fields.items()}


def _bare(annotation: Any) -> Any:
    """Return the type inside `X | None`."""
    if get_origin(annotation) in (Union, UnionType):
        inside = [choice for choice in get_args(annotation) if choice is not NoneType]
        return inside[0] if len(inside) == 1 else None
    return annotation


def _all_parts(part: type[Part]) -> Iterator[type[Part]]:
    for child in part.__subclasses__():
        yield child
        yield from _all_parts(child)

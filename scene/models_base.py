"""What all parts of a set are made of, and the choice between several forms of a part."""

import difflib
from collections.abc import Iterable
from typing import Any, ClassVar, get_args

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import PydanticCustomError, core_schema


class Part(BaseModel):
    """A part of a set: frozen, without room for unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, defer_build=True)

    #: Plain words that stand for a part, each with the keys that it means.
    WORDS: ClassVar[dict[str, dict[str, Any]]] = {}
    #: Keys that tell this form of a part from the others.
    MARKS: ClassVar[tuple[str, ...]] = ()


def fault(
    text: str, *below: str | int, at: str = "value", more: ValidationError | None = None
) -> PydanticCustomError:
    """Return a fault for a validator to raise.

    Parameters
    ----------
    text : str
        What is wrong, the value, and what is allowed.
    *below : str or int
        Path from the checked value to the one at fault.
    at : {'value', 'key'}
        Whether to point at the value or at its key.
    more : ValidationError, optional
        Other faults in the checked value.
    """
    return PydanticCustomError("setfile", "{text}", {"text": text, "below": below, "at": at, "more": more})


def nearest(word: str, words: Iterable[str]) -> str:
    """Return `; did you mean 'throw'?`, or nothing where no word is near."""
    near = difflib.get_close_matches(word, list(words), n=1, cutoff=0.6)
    return f"; did you mean {near[0]!r}?" if near else ""


def listed(words: Iterable[str]) -> str:
    """Return words as `'a', 'b' or 'c'`."""
    *first, last = [repr(word) for word in words]
    return f"{', '.join(first)} or {last}" if first else last


class ByWord:
    """Choice between parts by the word at one key, such as `shape: ball`.

    Parameters
    ----------
    key : str
        Each part has it as a `Literal` field; where the field of one has a default, the key may be left out.
    mark : str
        Key that only the part without a word has, and that tells it from the others.
    shared : type of Part, optional
        What is checked where the word is not known; else what all parts share.
    """

    def __init__(self, key: str, mark: str = "", shared: type[Part] | None = None):
        self.key, self.mark, self.shared = key, mark, shared

    def words(self, parts: Iterable[type[Part]]) -> dict[str, type[Part]]:
        worded = [part for part in parts if self.key in part.model_fields]
        return {word: part for part in worded for word in get_args(part.model_fields[self.key].annotation)}

    def __get_pydantic_core_schema__(self, source, handler):
        parts = get_args(source)
        words = self.words(parts)
        default = next((w for w in words if not words[w].model_fields[self.key].is_required()), None)
        marked = next((part for part in parts if self.key not in part.model_fields), None)
        above = (kind for kind in parts[0].__mro__ if all(issubclass(part, kind) for part in parts))
        shared = self.shared or next(above)

        def check(value: object) -> object:
            if not isinstance(value, dict):
                raise fault(f"{show(value)} is not a group of keys; write keys under it, or {{}} for none")
            if self.mark in value:
                return value
            word = value.get(self.key, default)
            if not isinstance(word, str) or word not in words:
                text = f"{show(word)} is not known{nearest(str(word), words) or ';'}" if word else "missing;"
                more = _shared_faults(shared, value)
                raise fault(f"{text} allowed: {listed(words)}", self.key, more=more)
            return value

        def pick(value: object) -> str:
            if isinstance(value, Part):
                return tag(type(value))
            return tag(marked if self.mark in value else words[value.get(self.key, default)])

        choices = {tag(part): handler.generate_schema(part) for part in parts}
        union = core_schema.tagged_union_schema(choices, pick)
        return core_schema.no_info_before_validator_function(check, union)


class ByKey:
    """Choice between parts by the key that is there or by a plain word: `{spirit: 40 % vol}` or `water`."""

    def __init__(self):
        self.parts: tuple[type[Part], ...] = ()

    def __get_pydantic_core_schema__(self, source, handler):
        self.parts = parts = get_args(source)
        words = {word: part for part in parts for word in part.WORDS}
        marks = {mark: part for part in parts for mark in part.MARKS}
        forms = [part.MARKS[0] for part in parts if part.MARKS]
        allowed = f"allowed: {listed([*words, *(f'{mark}: ...' for mark in forms)])}"

        def check(value: object) -> object:
            if isinstance(value, str):
                if value not in words:
                    raise fault(f"{show(value)} is not known{nearest(value, words) or ';'} {allowed}")
                return words[value].model_validate(words[value].WORDS[value])
            if not isinstance(value, dict):
                raise fault(f"{show(value)} is not known; {allowed}")
            found = {marks[key]: key for key in value if key in marks}
            if len(found) > 1:
                raise fault(f"has both {' and '.join(map(repr, found.values()))}; keep one")
            if not found:
                for key in value:
                    if near := nearest(key, marks):
                        raise fault(f"unknown key{near} {allowed}", key, at="key")
                raise fault(f"lacks the key that tells what it is; {allowed}")
            return value

        def pick(value: object) -> str:
            if isinstance(value, Part):
                return tag(type(value))
            return tag(next(marks[key] for key in value if key in marks))

        union = core_schema.tagged_union_schema({tag(p): handler.generate_schema(p) for p in parts}, pick)
        return core_schema.no_info_before_validator_function(check, union)

    def __get_pydantic_json_schema__(self, core, handler):
        words = [word for part in self.parts for word in part.WORDS]
        while "choices" not in core:
            core = core["schema"]
        forms = [handler(core["choices"][tag(part)]) for part in self.parts if part.MARKS]
        return {"anyOf": [*([{"enum": words}] if words else []), *forms]}


def _shared_faults(shared: type[Part], value: dict) -> ValidationError | None:
    """Return what is wrong in the keys that all forms share, where the form itself is not known."""
    known = {field.alias or name for name, field in shared.model_fields.items()}
    try:
        shared.model_validate({key: item for key, item in value.items() if key in known})
    except ValidationError as error:
        return error
    return None


def tag(part: type) -> str:
    """Return the mark of a chosen form in the path of a fault; no key looks like it."""
    return f"<{part.__name__}>"


def show(value: object) -> str:
    """Return a value as the person wrote it, short."""
    if isinstance(value, dict):
        return "a group of keys"
    if isinstance(value, list | tuple):
        return "a list"
    text = {True: "true", False: "false"}.get(value, repr(value)) if isinstance(value, bool) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."

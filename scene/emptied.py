"""A set with its glasses emptied, and which glasses of a set are empty."""

from __future__ import annotations

from brimcast.shared.errors import PersonError

from .built import BuiltSet
from .setfile import SetFile, faults_at


def empty_glasses(set_file: SetFile) -> SetFile:
    """Return the set without drinks, ice and condensation; all else is as it was.

    Raises
    ------
    PersonError
        No glass of the set holds a drink or ice.
    """
    if not any(glass.drink or glass.ice for glass in set_file.glasses.values()):
        text = "no glass holds a drink or ice, so there is nothing to take out; --empty needs a filled one"
        raise PersonError(faults_at(set_file, "glasses", text))
    # What is empty is not cold, so nothing condenses on it.
    bare = {"drink": None, "ice": (), "condensation": None}
    emptied = {name: glass.model_copy(update=bare) for name, glass in set_file.glasses.items()}
    return set_file.model_copy(update={"glasses": emptied})


def list_empty(built: BuiltSet) -> list[str]:
    """Return the names of the glasses that light goes through and that hold no drink."""
    clear = {solid.name for solid in built.solids if solid.kind == "dielectric"}
    drinks = [
        solid.name
        for solid in built.solids
        if solid.kind == "dielectric" and built.media[solid.slot].kind == "drink"
    ]
    # What a glass holds is named after it.
    return [
        foot.name
        for foot in built.feet
        if foot.name in clear and not any(name.startswith(f"{foot.name} ") for name in drinks)
    ]

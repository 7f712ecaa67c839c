"""A first set file to write into: short, commented, and valid as it stands."""

from __future__ import annotations

import json

from .yamlplaces import parse_value

_STARTER = """\
# A set for brimcast. What is left out follows the manual's defaults; every length needs its unit.
brimcast: 1
title: {title}

table:
  size: [1.2 m, 0.9 m]         # across, deep; the hero's foot stands in the middle
  reflectance: 60 %            # 80 % for a light table, 20 % for a dark one

glasses:
  hero:
    vessel: highball           # another: see `brimcast vessel list`; or {{shape: highball, wall: 2 mm}}
    drink:                     # take this out for an empty glass
      liquid: water            # or {{spirit: 40 % vol}}, {{syrup: 12 Brix}}, {{beer: 12.7 SRM}}
      fill: 110 mm             # fill line above the table; or 150 ml; or 70 % of the capacity

lamps:
  key:
    kind: disc                 # or bulb, or panel with size: [300 mm, 1.2 m]
    diameter: 30 mm            # the bright front that the glass sees
    throw: 1.5 m               # from the front to what the lamp is aimed at
    elevation: 35 deg          # above the table
    azimuth: 150 deg           # 0 is the camera, 90 camera left, 180 behind; or 11 o'clock
    colour: 5600 K
    # A meter reading at full power makes exposure absolute. Give one to every lamp, or to none.
    # reading: {{f_number: f/16, iso: 100, distance: 1 m, receptor: flat}}

camera:
  sensor: [36 mm, 24 mm]
  lens: 100 mm
  distance: 1.4 m
  elevation: 20 deg
  aim: hero                    # or a point: [right, away, up] from the hero's foot
  f_number: f/11
  iso: 100
  shutter: 1/160 s

render:
  width: 900                   # pixels
  quality: draft               # then proof, then final
"""


def starter(name: str) -> str:
    """Return the text of a commented starter set.

    Parameters
    ----------
    name : str
        Of the drink or the file: `obbleway-tonic` gives the title "Obbleway tonic".
    """
    name = name.encode("utf-8", "replace").decode("utf-8")
    words = " ".join(name.replace("-", " ").replace("_", " ").split())
    title = (words[:1].upper() + words[1:] if words.islower() else words)[:200] or "Untitled set"
    # JSON text in quotes is YAML text in quotes, as long as no sign needs an escape that YAML lacks.
    quoted = json.dumps(title, ensure_ascii=not title.isprintable())
    return _STARTER.format(title=title if _stands_bare(title) else quoted)


def _stands_bare(title: str) -> bool:
    """Return whether a title needs no quotes."""
    return title.replace(" ", "").isalnum() and parse_value(title) == title

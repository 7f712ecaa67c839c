"""Glasses and drinks: measured outlines become closed meshes with exact normals.

In reading order:

- ``mesh``: ``Mesh``, triangles for the renderer; ``placed``, ``rotated``, ``combined``, ``merged``, ``check``
- ``outline``: ``Outline``, radius and height with tangents; ``line``, ``arc``, ``joined``, ``thinned``
- ``lathe``: ``turn``, section to mesh
- ``curve``: ``smooth_curve`` through measured points, ``rounded`` corners
- ``offset``: ``offset``, the curve at a distance from an outline, and the discs that fit beside one
- ``wall``: ``close_wall``, outer outline and thickness to the glass's section
- ``fill``: ``fill``, the drink's body; ``capacity_ml``, ``fill_height_for_ml``
- ``library``: ``vessel`` by name, ``vessel_from_outline`` from calliper readings
- ``solids``: balls, rods, slabs, prisms, rings and plates with openings

Lengths are millimetres, z is up, the table is z = 0, a vessel's axis is z.
"""

"""Glasses and drinks: measured outlines become closed meshes with exact normals.

In reading order:

- ``mesh``: ``Mesh``, triangles for the renderer; ``placed``, ``rotated``, ``combined``, ``copied``,
  ``merged``, ``check``
- ``outline``: ``Outline``, radius and height with tangents; ``line``, ``arc``, ``joined``, ``thinned``
- ``lathe``: ``turn``, section to mesh; ``sweep``, the volume of one
- ``curve``: ``smooth_curve`` through measured points, ``rounded`` corners
- ``offset``: ``offset``, the curve at a distance from an outline, and the discs that fit beside one
- ``wall``: ``close_wall``, outer outline and thickness to the glass's section; ``bead``, a rolled rim
- ``meniscus``: ``climb``, the edge of a drink's surface where it climbs up the wall
- ``fill``: ``fill``, the drink's body or a layer of it; ``head`` of foam; ``capacity_ml``, ``held_ml``,
  ``fill_height_for_ml``
- ``fizz``: ``fizz_mesh``, bubbles of gas in a drink
- ``shapes``: ``SHAPES``, the glasses known by name with their usual measures
- ``library``: ``vessel`` by name, ``vessel_from_outline`` from calliper readings
- ``measured``: ``Measured``, what a person says of a glass; ``make_vessel``
- ``vesselfile``: ``read_vessel``, ``write_file``, the same as a YAML file
- ``outlinefile``: ``read_outline``, SVG paths (``svgpath``) and CSV points, laid out as one side (``halves``)
- ``photo``: ``trace``, a glass in a photograph: its edge (``silhouette``), the profile that has such an edge
  (``hull``), a few points for it (``stations``)
- ``imports``: ``import_mesh``, other programs' meshes, checked and mended (``mending``)
- ``variants``: ``variants``, glasses within a making tolerance
- ``numbers``: ``measure``, capacity, mass, centre of mass, stability
- ``drawing``: ``draw_section``, the section to scale; ``linework`` writes it as SVG and PNG
- ``export``: ``export_mesh``, STL, PLY, OBJ, GLB
- ``outside``: ``find_outside``, a stretch of the outside by its height
- ``relief``: flutes, ribs, rings, hammered and wavy surfaces as depths; ``surface`` makes vertices of them
- ``facets``: flat panels cut round a glass
- ``strips``: ``woven``, a mesh of lines of vertices
- ``finish``: ``finish``, a glass with all that was done to it
- ``inclusions``: ``bubble_mesh``, bubbles in the glass; ``label``: ``cut_label``, a sheet on the wall
- ``convex``: ``Convex`` solids by their planes, ``round_edges``; ``ice``: cubes, spears, balls, cracked
  pieces, ``crack_mesh``; ``floating``: ``wet``, how much of a solid is under a level
- ``room``: ``Room``, the inside as room for solids; ``falling``: ``Fall``, ice and drink in motion in it;
  ``settle``: ``settle``, where the ice comes to rest
- ``strewing``: ``strew``, places on the outside; ``dew``: ``strew_drops`` and ``drop_mesh``, condensation;
  ``grains``: ``grain_mesh``, salt or sugar on a rim
- ``solids``: balls, rods, slabs, prisms, rings and plates with openings

Lengths are millimetres, z is up, the table is z = 0, a vessel's axis is z.
"""

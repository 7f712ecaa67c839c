"""What keeps triangles from being a closed solid, said with its place, and mended where that is safe."""

from __future__ import annotations

import numpy as np

SMALL_HOLE = 0.1  # of the solid's size: a larger hole is an opening, which no one can close by guess
_FLAT = 1e-7  # mm, of a face's height
_TOLD = 3  # holes told of by name


def find_faults(positions_mm, faces):
    """Return what is wrong with a solid, in words, in the order in which it must be mended.

    Parameters
    ----------
    positions_mm : (n, 3) float
        Each position once.
    faces : (m, 3) int

    Returns
    -------
    list of str
        Empty for closed parts that face outward, and closed hollows inside them.
    """
    found = []
    uses, once, crowded = _edges(faces)
    if len(crowded):
        where = _place(positions_mm[crowded[0]].mean(axis=0))
        found.append(f"{len(crowded)} edges have more than two faces, one at {where}")
    if len(once):
        found.append(_tell_holes(positions_mm, _groups(once)))
    if not found and uses:
        found.append(f"faces are turned different ways, at {uses} edges")
    if not found:
        flat = _flat_faces(positions_mm, faces)
        if len(flat):
            middle = positions_mm[faces[flat[0]]].mean(axis=0)
            found.append(f"{len(flat)} faces have no area, one at {_place(middle)}")
        found += _tell_inward(positions_mm, faces)
    return found


def mend(positions_mm, faces):
    """Return positions and faces of a mended solid, and what was done, in words.

    Faces are turned alike, then outward; holes smaller than a tenth of the solid are closed with
    flat faces; faces without area give way to their neighbours. What is left is for `find_faults`.
    """
    done = []
    faces, turned = _turned_alike(faces)
    if turned:
        done.append(f"{turned} faces were turned round")
    faces, closed = _closed_holes(positions_mm, faces)
    if closed:
        done.append(f"{closed} small holes were closed")
    faces, swapped = _without_flat(positions_mm, faces)
    if swapped:
        done.append(f"{swapped} faces without area were taken out")
    if not find_open(faces):
        faces, flipped = _turned_outward(positions_mm, faces)
        if flipped:
            done.append(f"{flipped} parts that looked inward were turned outward")
    return positions_mm, faces, done


def find_open(faces):
    """Return whether an edge is not shared by two faces."""
    _, once, crowded = _edges(faces)
    return bool(len(once) or len(crowded))


def _edges(faces):
    """Return how many edges both faces run alike, edges (k, 2) of one face, and edges of three or more."""
    pairs = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)
    ordered = np.sort(pairs, axis=1)
    edges, index, counts = np.unique(ordered, axis=0, return_inverse=True, return_counts=True)
    index = index.reshape(-1)
    forward = np.bincount(index, weights=pairs[:, 0] < pairs[:, 1], minlength=len(edges))
    alike = int(((counts == 2) & (forward != 1)).sum())
    single = pairs[counts[index] == 1]
    return alike, single, edges[counts > 2]


def _groups(once):
    """Return the vertices of each run of open edges (k, 2) that hang together."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    known, index = np.unique(once, return_inverse=True)
    index = index.reshape(-1, 2)
    graph = coo_matrix((np.ones(len(index), dtype=bool), index.T), shape=(len(known),) * 2)
    count, group = connected_components(graph, directed=False)
    return [known[group == k] for k in range(count)]


def _rings(once):
    """Return the rings that open edges (k, 2) run round, vertices in order, none touching itself."""
    onward = {}
    for start, end in once.tolist():
        onward.setdefault(start, []).append(end)
    rings = []
    for start in list(onward):
        path = [start]
        while onward.get(path[-1]):
            end = onward[path[-1]].pop()
            if end in path:
                at = path.index(end)
                rings.append(np.array(path[at:]))
                path = path[:at]
            path.append(end)
    return rings


def _size_mm(positions):
    return float(np.ptp(positions, axis=0).max())


def _tell_holes(positions_mm, groups):
    holes = sorted((positions_mm[group] for group in groups), key=_size_mm, reverse=True)
    middles = [(hole.min(axis=0) + hole.max(axis=0)) / 2 for hole in holes]
    told = [
        f"{_size_mm(hole):.1f} mm across at {_place(middle)}"
        for hole, middle in zip(holes, middles, strict=True)
    ]
    more = f" and {len(told) - _TOLD} more" if len(told) > _TOLD else ""
    what = "a hole" if len(told) == 1 else f"{len(told)} holes, the largest"
    return f"is not closed: it has {what} {', '.join(told[:_TOLD])}{more}"


def _place(point):
    return "[" + ", ".join(f"{value + 0.0:.1f}" for value in np.round(point, 1)) + "] mm"


def _parts(faces):
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    size = int(faces.max()) + 1
    starts, ends = faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)
    graph = coo_matrix((np.ones(len(starts), dtype=bool), (starts, ends)), shape=(size, size))
    # Numbered from 0 without gaps, though positions may be unused.
    part = connected_components(graph, directed=False)[1][faces[:, 0]]
    return np.unique(part, return_inverse=True)[1].reshape(-1)


def _volumes(positions_mm, faces, part):
    corners = positions_mm[faces] - positions_mm[faces].reshape(-1, 3).mean(axis=0)
    sixths = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6
    return np.bincount(part, weights=sixths)


def _is_hollow(positions_mm, faces, part, volumes, k):
    """Whether part k, which faces inward, lies inside one that faces outward."""
    low, high = _box(positions_mm[faces[part == k]])
    for other in np.flatnonzero(volumes > -volumes[k]):
        least, most = _box(positions_mm[faces[part == other]])
        if (low > least).all() and (high < most).all():
            return True
    return False


def _box(corners):
    return corners.min(axis=(0, 1)), corners.max(axis=(0, 1))


def _tell_inward(positions_mm, faces):
    part = _parts(faces)
    volumes = _volumes(positions_mm, faces, part)
    turned = np.flatnonzero(volumes <= 0)
    inward = [k for k in turned if not _is_hollow(positions_mm, faces, part, volumes, k)]
    if not inward:
        return []
    middle = positions_mm[faces[part == inward[0]]].reshape(-1, 3).mean(axis=0)
    if len(volumes) == 1:
        return ["its faces look inward"]
    return [f"{len(inward)} of its {len(volumes)} parts look inward, one round {_place(middle)}"]


def _turned_outward(positions_mm, faces):
    part = _parts(faces)
    volumes = _volumes(positions_mm, faces, part)
    faces, flipped = faces.copy(), 0
    for k in np.flatnonzero(volumes < 0):
        if not _is_hollow(positions_mm, faces, part, volumes, k):
            faces[part == k] = faces[part == k][:, ::-1]
            flipped += 1
    return faces, flipped


def _turned_alike(faces):
    """Return faces that all run alike with their neighbours, and how many were turned."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import breadth_first_order, connected_components

    pairs = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)
    ordered = np.sort(pairs, axis=1)
    _, index, counts = np.unique(ordered, axis=0, return_inverse=True, return_counts=True)
    order = np.argsort(index.reshape(-1), kind="stable")
    twice = np.repeat(counts == 2, counts)
    halves = order[twice].reshape(-1, 2)
    one, other = halves.T // 3
    alike = pairs[halves[:, 0], 0] == pairs[halves[:, 1], 0]
    size = (len(faces), len(faces))
    _, first = np.unique(one * len(faces) + other, return_index=True)
    # 1: they run against each other, as they should; 2: one of them must be turned.
    graph = coo_matrix((1 + alike[first].astype(int), (one[first], other[first])), shape=size).tocsr()
    graph = graph.maximum(graph.T)
    count, group = connected_components(graph, directed=False)
    turn = np.zeros(len(faces), dtype=bool)
    for k in range(count):
        first = int((group == k).argmax())
        walked, before = breadth_first_order(graph, first, directed=False)
        if len(walked) == 1:
            continue
        steps = np.asarray(graph[before[walked[1:]], walked[1:]]).reshape(-1) == 2
        for face, step in zip(walked[1:].tolist(), steps.tolist(), strict=True):
            turn[face] = turn[before[face]] ^ step
        mine = group == k
        if 2 * turn[mine].sum() > mine.sum():
            turn[mine] = ~turn[mine]
    faces = faces.copy()
    faces[turn] = faces[turn][:, ::-1]
    return faces, int(turn.sum())


def _closed_holes(positions_mm, faces):
    """Return faces with small simple holes closed, and how many were."""
    import manifold3d

    _, once, _ = _edges(faces)
    if not len(once):
        return faces, 0
    most_mm = SMALL_HOLE * _size_mm(positions_mm)
    patches = []
    for ring in _rings(once):
        if len(ring) < 3 or _size_mm(positions_mm[ring]) > most_mm:
            continue
        # New faces run against the open edges.
        ring = ring[::-1]
        points = positions_mm[ring] - positions_mm[ring].mean(axis=0)
        normal = np.cross(points, np.roll(points, -1, axis=0)).sum(axis=0)
        axes = np.linalg.svd(normal[None])[2]
        flat = points @ np.stack([axes[1], axes[2]], axis=1)
        x, y = flat.T
        if (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() < 0:
            flat = flat * [1, -1]
        made = np.asarray(manifold3d.triangulate([np.ascontiguousarray(flat)]))
        if len(made) == len(ring) - 2:
            patches.append(ring[made])
    return np.concatenate([faces, *patches]), len(patches)


def _flat_faces(positions_mm, faces):
    corners = positions_mm[faces]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    doubled = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    return np.flatnonzero(doubled <= longest * _FLAT)


def _without_flat(positions_mm, faces):
    """Return faces in which those without area have swapped their longest edge with the neighbour there."""
    faces, swapped = faces.copy(), 0
    for _ in range(10):
        flat = _flat_faces(positions_mm, faces)
        if not len(flat):
            break
        owner = {}
        for k, (a, b, c) in enumerate(faces.tolist()):
            owner |= {(a, b): k, (b, c): k, (c, a): k}
        touched = set()
        for k in flat.tolist():
            face = faces[k]
            corners = positions_mm[face]
            far = int(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).argmax())
            a, b, c = (int(face[(far + step) % 3]) for step in range(3))
            other = owner.get((b, a))
            if other is None or {k, other} & touched:
                continue
            d = next(int(v) for v in faces[other] if v not in (a, b))
            # The flat face has c on the edge from a to b: split the neighbour there.
            faces[k], faces[other] = (a, d, c), (d, b, c)
            touched |= {k, other}
            swapped += 1
    return faces, swapped

"""Meshes written for other programs, read back by trimesh and by hand."""

import json
import struct

import numpy as np
import pytest
import trimesh

from brimcast.vessels.export import FORMATS, export_mesh
from brimcast.vessels.library import vessel
from brimcast.vessels.solids import ring


@pytest.fixture(scope="module")
def mesh():
    return vessel("coupe").glass_mesh(detail=0.3)


@pytest.mark.parametrize("ending", FORMATS)
def test_file_holds_the_closed_solid_in_its_unit(tmp_path, mesh, ending):
    path = tmp_path / f"coupe{ending}"
    export_mesh(mesh, path)
    body = trimesh.load(path, force="mesh")
    body.merge_vertices(merge_norm=True)
    assert body.is_watertight and body.is_winding_consistent and body.euler_number == 2
    scale = {"mm": 1.0, "m": 1e-3}[FORMATS[ending]]
    # Single floats hold seven digits.
    assert body.volume == pytest.approx(mesh.volume_mm3 * scale**3, rel=1e-5)
    up = 1 if ending == ".glb" else 2
    assert body.bounds[:, up] == pytest.approx([0, 135 * scale], rel=1e-6)
    assert len(body.faces) == len(mesh.faces)


def test_obj_keeps_exact_normals(tmp_path, mesh):
    export_mesh(mesh, tmp_path / "coupe.obj")
    lines = (tmp_path / "coupe.obj").read_text().splitlines()
    vertices, normals = (
        np.array([line.split()[1:] for line in lines if line.startswith(f"{mark} ")], dtype=float)
        for mark in ("v", "vn")
    )
    faces = np.array(
        [line.replace("//", " ").split()[1:] for line in lines if line.startswith("f ")], dtype=int
    )
    # Faces count from 1; the order of vertices is the writer's.
    assert np.abs(vertices[faces[:, ::2] - 1] - mesh.vertices_mm[mesh.faces]).max() < 1e-6
    assert np.abs(normals[faces[:, 1::2] - 1] - mesh.normals[mesh.faces]).max() < 1e-6


def test_glb_keeps_exact_normals_with_y_up(tmp_path, mesh):
    """glTF 2.0: 12 bytes of header, then a JSON and a binary chunk; y is up, so (x, y, z) -> (x, z, -y)."""
    export_mesh(mesh, tmp_path / "coupe.glb")
    raw = (tmp_path / "coupe.glb").read_bytes()
    assert raw[:4] == b"glTF"
    length = struct.unpack("<I", raw[12:16])[0]
    tree, binary = json.loads(raw[20 : 20 + length]), raw[28 + length :]

    def read(index, kind, width):
        accessor = tree["accessors"][index]
        start = tree["bufferViews"][accessor["bufferView"]]["byteOffset"]
        return np.frombuffer(binary, kind, accessor["count"] * width, start).reshape(-1, width)

    (primitive,) = tree["meshes"][0]["primitives"]
    faces = read(primitive["indices"], "<u4", 1).reshape(-1, 3)
    normals = read(primitive["attributes"]["NORMAL"], "<f4", 3)
    expected = mesh.normals[mesh.faces][..., [0, 2, 1]] * [1, 1, -1]
    assert np.abs(normals[faces] - expected).max() < 1e-6


def test_sharp_edges_stay_sharp_in_what_has_normals_and_closed_in_what_has_none(tmp_path):
    body = ring(60, 2, 20, sections=64)
    for ending, copies in ((".obj", 2), (".stl", 1), (".ply", 1)):
        export_mesh(body, tmp_path / f"ring{ending}")
        loaded = trimesh.load(tmp_path / f"ring{ending}", force="mesh", process=ending == ".stl")
        assert len(loaded.vertices) == copies * 4 * 64, ending


def test_unknown_ending_is_named(tmp_path, mesh):
    with pytest.raises(ValueError, match="coupe.fbx: the ending must be one of .stl, .ply, .obj, .glb"):
        export_mesh(mesh, tmp_path / "coupe.fbx")

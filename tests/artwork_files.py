"""Images, meshes and drawings written for tests by other hands than the readers'."""

import struct

import numpy as np
import png
import tifffile

SVG = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {head}>{body}</svg>'


def write_png(path, planes, bits, **options):
    """Grey (2-D) or several channels (3-D: 2 grey and alpha, 3 colour, 4 colour and alpha)."""
    planes = np.asarray(planes)
    channels = 1 if planes.ndim == 2 else planes.shape[2]
    form = {"greyscale": channels < 3, "alpha": channels in (2, 4), "bitdepth": bits, **options}
    with path.open("wb") as file:
        png.Writer(planes.shape[1], planes.shape[0], **form).write(file, planes.reshape(len(planes), -1).tolist())
    return path


def write_tiff(path, planes, **options):
    """As the other library writes it."""
    tifffile.imwrite(path, np.asarray(planes), **{"photometric": "minisblack", **options})
    return path


def grid_mesh(z, side=1.0):
    """Triangles (n, 3, 3) of a surface through heights at the corners of squares; row 0 lowest y."""
    rows, columns = z.shape
    y, x = np.mgrid[0:rows, 0:columns] * side
    p = np.stack([x, y, z], axis=-1)
    a, b, c, d = p[:-1, :-1], p[:-1, 1:], p[1:, 1:], p[1:, :-1]
    return np.concatenate([np.stack(t, axis=2).reshape(-1, 3, 3) for t in ((a, b, c), (a, c, d))])


def write_stl(path, triangles, text=False):
    """Binary or as text."""
    if text:
        facets = [
            "facet normal 0 0 1\n outer loop\n"
            + "".join(f"  vertex {x:.9g} {y:.9g} {z:.9g}\n" for x, y, z in t)
            + " endloop\nendfacet\n"
            for t in triangles
        ]
        path.write_text("solid made\n" + "".join(facets) + "endsolid made\n")
        return path
    rows = np.zeros(len(triangles), dtype=[("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
    rows["p"] = triangles
    path.write_bytes(b"solid in name only".ljust(80) + struct.pack("<I", len(rows)) + rows.tobytes())
    return path


def write_ply(path, triangles, order="<"):
    """Binary of either order, or "ascii"; corners are not shared."""
    points, n = np.asarray(triangles, dtype=float).reshape(-1, 3), len(triangles)
    form = {"<": "binary_little_endian", ">": "binary_big_endian", "ascii": "ascii"}[order]
    head = (
        f"ply\nformat {form} 1.0\nelement vertex {3 * n}\nproperty double x\nproperty double y\nproperty double z\n"
        f"element face {n}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    faces = np.arange(3 * n).reshape(-1, 3)
    if order == "ascii":
        body = "".join(f"{x:.17g} {y:.17g} {z:.17g}\n" for x, y, z in points) + "".join(
            f"3 {a} {b} {c}\n" for a, b, c in faces
        )
        path.write_text(head + body)
        return path
    rows = np.zeros(n, dtype=[("k", "u1"), ("i", f"{order}i4", 3)])
    rows["k"], rows["i"] = 3, faces
    path.write_bytes(head.encode() + points.astype(f"{order}f8").tobytes() + rows.tobytes())
    return path


def write_svg(path, body, head='width="100mm" height="100mm" viewBox="0 0 100 100"'):
    """A drawing of 100 x 100 mm unless its head says otherwise."""
    path.write_text(SVG.format(head=head, body=body), encoding="utf-8")
    return path

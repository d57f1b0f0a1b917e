"""Index and parameter rows of each element kind, from the graph's attributes."""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.network.numbering import Builder, faces


def ducts(b: Builder) -> tuple[list[Any], list[Any], list[Any]]:
    """Rows of all ducts: indices, parameters, fixed friction factors."""
    index: list[Any] = []
    values: list[Any] = []
    fixed: list[Any] = []
    for u, v, d in b.edges:
        if d["kind"] != "duct":
            continue
        k = b.flow[d["name"]]
        row = b.row(f"duct {d['name']}")
        slot_u = b.face(u, d["face_u"])
        slot_v = b.face(v, d["face_v"])
        end_u = b.end(slot_u, k, d["area_u_m2"])
        end_v = b.end(slot_v, k, d["area_v_m2"])
        index.append((end_u, end_v, row, k, b.pos(row, slot_u), b.pos(row, slot_v),
                      b.pos(row, b.mflow(k))))
        values += [d["k_u_forward"], d["k_v_forward"], d["k_u_back"], d["k_v_back"],
                   d["friction_u"], d["friction_v"], d["rel_rough"], d["re_per_flow"],
                   1.0 / np.asarray(d["choke_m2"], dtype=float)]
        fixed.append(d["darcy"])
    return index, values, fixed


def _station_ends(b: Builder, node: str) -> tuple[int, int, tuple[int, int, int, int]]:
    (k_l, _), (k_r, _) = faces(b, node)
    left, right = b.slot[node]
    area = b.nodes[node]["area_m2"]
    e_l = b.end(left, k_l, area)
    e_r = b.end(right, k_r, area)
    return e_l, e_r, (left, right, b.mflow(k_l), b.mflow(k_r))


def stations(b: Builder) -> tuple[list[Any], list[Any]]:
    """Rows of all plenum stations."""
    index: list[Any] = []
    values: list[Any] = []
    for name, data in b.nodes.items():
        if data["kind"] != "station":
            continue
        row = b.row(f"momentum along the plenum at {name}")
        e_l, e_r, slots = _station_ends(b, name)
        index.append((e_l, e_r, row, *(b.pos(row, s) for s in slots)))
        values += [*data["run"], data["gain"]]
    return index, values


def mouths(b: Builder) -> tuple[list[Any], list[Any]]:
    """Rows of all mouths."""
    index: list[Any] = []
    values: list[Any] = []
    for u, v, d in b.edges:
        if d["kind"] != "mouth":
            continue
        k = b.flow[d["name"]]
        row = b.row(f"mouth {d['name']}")
        e_l, e_r, slots = _station_ends(b, u)
        slot = b.slot[v][0]
        e_1 = b.end(slot, k, d["area_v_m2"])
        index.append((e_l, e_r, e_1, row, *(b.pos(row, s) for s in slots), b.pos(row, slot),
                      b.pos(row, b.mflow(k))))
        values += [d["k_ww"], d["k_vv"], d["k_exit"], *d["factor"], d["k_wv_left"],
                   d["k_wv_right"], 1.0 / np.asarray(b.nodes[u]["area_m2"], dtype=float)]
    return index, values


def nozzles(b: Builder) -> tuple[list[Any], list[Any], dict[str, int]]:
    """Rows of all nozzles, and their numbers by name."""
    index: list[Any] = []
    values: list[Any] = []
    names: dict[str, int] = {}
    for u, v, d in b.edges:
        if d["kind"] != "nozzle":
            continue
        k = b.flow[d["name"]]
        row = b.row(f"nozzle {d['name']}")
        slot_u = b.slot[u][0]
        slot_v = b.slot[v][0]
        e = b.end(slot_u, k, d["area_u_m2"])
        names[d["name"]] = len(index)
        index.append((e, slot_v, k, row, b.pos(row, slot_u), b.pos(row, slot_v),
                      b.pos(row, b.mflow(k))))
        values.append(d["cd_area_m2"])
    return index, values, names

#!/usr/bin/python3
"""Writes geos.json: outlines that break things, and what GEOS makes of them.

Debian 12's python3-shapely 1.8.5, which is GEOS 3.11.1:  /usr/bin/python3 geos.py > geos.json
"""
import json
import math
import random

import shapely.geos
from shapely.geometry import LineString, Polygon
from shapely.ops import polygonize, unary_union

SEED = 7
rng = random.Random(SEED)


def star(cx, cy, n, grid):
    """A star-shaped outline; on a grid of 1 mm its sides touch and overlap those of others a lot."""
    pts = []
    for i in range(n):
        a, r = 2 * math.pi * i / n, rng.uniform(8, 18)
        x, y = cx + r * math.cos(a), cy + r * math.sin(a)
        pts.append((round(x), round(y)) if grid else (round(x, 4), round(y, 4)))
    return pts


def valid_star(cx, cy, n, grid):
    while True:
        p = star(cx, cy, n, grid)
        if Polygon(p).is_valid and Polygon(p).area > 1:
            return p


def partner(a, kind):
    """A second outline that meets the first in the way that kind says."""
    if kind == "identical":
        return a
    if kind == "turned round":  # the same curve, begun elsewhere and run backwards
        return a[3:][::-1] + a[:3][::-1]
    if kind == "one corner moved":
        b = list(a)
        b[0] = (b[0][0] * 1.1, b[0][1] * 1.1)
        return b
    if kind == "sides shared in part":
        return [(x, y) for x, y in box(a)]
    if kind == "touching at a corner":
        x, y = max(a)
        return [(x, y), (x + 5, y - 5), (x + 9, y), (x + 5, y + 5)]
    if kind == "apart":
        return [(x + 60, y) for x, y in a]
    if kind == "inside":
        return [(x * 0.3, y * 0.3) for x, y in a]
    return valid_star(rng.gauss(0, 6), rng.gauss(0, 6), rng.randint(3, 40), kind == "grid")


def box(a):
    """A box that shares the lower edge of a's own box."""
    x0, x1 = min(p[0] for p in a), max(p[0] for p in a)
    y0 = min(p[1] for p in a)
    return [(x0, y0), (x1, y0), (x1, y0 + 7), (x0, y0 + 7)]


def pairs():
    kinds = ["free", "grid", "identical", "turned round", "one corner moved", "sides shared in part", "touching at a corner",
             "apart", "inside"]
    for trial in range(72):
        kind = kinds[trial % len(kinds)]
        while True:
            a = valid_star(0, 0, rng.randint(5, 40), kind != "free")
            b = partner(a, kind)
            if Polygon(b).is_valid:
                break
        p, q = Polygon(a), Polygon(b)
        yield {"kind": kind, "a": a, "b": b, "area_a": p.area, "area_b": q.area, "intersection": p.intersection(q).area,
               "union": p.union(q).area, "a_less_b": p.difference(q).area, "b_less_a": q.difference(p).area}


def closed_curves():
    """Curves that cross and touch themselves, with the faces they cut the plane into."""
    for trial in range(80):
        if trial % 2:  # wild: points anywhere on a coarse grid
            pts = [(rng.randint(0, 10), rng.randint(0, 10)) for _ in range(rng.randint(3, 30))]
        else:  # a round outline with slips: a tracer's small loop, a spike, a point run twice
            pts = [(round(20 * math.cos(t), 4), round(20 * math.sin(t), 4))
                   for t in (2 * math.pi * i / 90 for i in range(90))]
            i = rng.randint(5, 80)
            x, y = pts[i]
            d = rng.choice([0.05, 0.2, 3.0])
            slip = rng.choice([[(x - d, y + d), (x + d, y + d)], [(x * (1 + d / 20), y * (1 + d / 20)), (x, y)], [(x, y), (x, y)]])
            pts[i:i + 1] = [(x, y)] + slip + [(x, y)] if rng.random() < 0.5 else slip
        ring = LineString(pts + pts[:1])
        faces = [] if ring.length == 0 else list(polygonize(unary_union(ring)))
        yield {"curve": pts, "faces": [{"area": f.area, "inside": list(f.representative_point().coords[0])} for f in faces]}


print(json.dumps({"source": "geos.py, shapely %s, GEOS %d.%d.%d, seed %d" % ((shapely.__version__,) + shapely.geos.geos_version + (SEED,)),
                  "pairs": list(pairs()), "curves": list(closed_curves())}, separators=(",", ":")))

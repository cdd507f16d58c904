"""Hand-made trees for the loads tests, small enough to work out with a pencil."""

import numpy as np
from loads.by_hand import check_anchors
from strategies import alone

from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.material.wood_strength import Wood
from treescan.loads.settings import LoadSettings
from treescan.reason import Reason
from treescan.wood.topology.assemble import assemble

PLAIN = Wood("made up", 50e6, 22e6, 7e6, 0.16, 9e9, 900.0, 0.08, Reason("wood_kind_only", asked="made up", kind="any_kind", percentile=0.05, mor=50e6), "read", ("wood_handbook",))
WEIGHTLESS = Wood("made up", 50e6, 22e6, 7e6, 0.16, 9e9, 1e-9, 0.08, PLAIN.label, "read", ("wood_handbook",))


def tree(limbs, *, height=12.0, stem=0.40, top=0.20, step=0.5, **more):
    """A straight plumb stem with straight limbs.

    limbs : (height on the stem, azimuth from +x [deg], slope [deg], length, diameter at the bark, diameter at the tip) each.
    """
    xyz, radius, parent = [np.zeros(3)], [stem / 2], [-1]
    rows = round(height / step)
    for i in range(1, rows + 1):
        xyz.append(np.array([0, 0, i * step]))
        radius.append((stem + (top - stem) * i / rows) / 2)
        parent.append(len(xyz) - 2)
    for z, azimuth, slope, length, thick, thin in limbs:
        a, s = np.deg2rad(azimuth), np.deg2rad(slope)
        d = np.array([np.cos(a) * np.cos(s), np.sin(a) * np.cos(s), np.sin(s)])
        at, n = round(z / step), round(length / step)
        for i in range(1, n + 1):
            xyz.append(xyz[round(z / step)] + d * length * i / n)
            radius.append((thick + (thin - thick) * i / n) / 2)
            parent.append(at)
            at = len(xyz) - 1
    return assemble(xyz, radius, parent, **({"radius_sd": 0.02 * np.array(radius)} | more))


def configuration(graph, label, system, *, distance=None, base=(0.6, 0.0, 1.0), via=(), hardware="rope on bark"):
    """A configuration at a union, on its thickest lateral; the rope rests 5 cm from the bark unless told."""
    k = graph.unions.index(label)
    arm = graph.unions.laterals(k)[0]
    if distance is None:
        distance = graph.unions.parent_diameter[k] / 2 + 0.05
    return AnchorConfiguration(k, system, hardware, int(graph.unions.arm_node[arm]), distance, np.array(via, np.int32), np.asarray(base, float))


def checked(graph, configurations, *, wood=PLAIN, work=None, seed=1, **changes):
    """The checks of some configurations with settings changed by name."""
    work = np.zeros((0, 3)) if work is None else np.atleast_2d(np.asarray(work, float))
    return check_anchors(graph, alone(graph), wood, configurations, work, LoadSettings(**changes), seed)
